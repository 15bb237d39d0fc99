"""The neck: positions, the shapes of chords under the hand, and how they connect."""
