"""Tune files: text to form with all mistakes at once, and back."""
