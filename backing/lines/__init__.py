"""Lines through the changes, found by search over the whole form."""
