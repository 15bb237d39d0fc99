"""The bass: walking and two-feel lines, their rhythm, harmony and ornaments."""
