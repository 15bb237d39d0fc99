"""A take heard: its notes, where the track was, and what to work on next."""
