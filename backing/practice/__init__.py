"""The neck: where chords lie under the hand, how they connect, and lines through them."""
