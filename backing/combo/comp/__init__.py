"""The chording player: rhythm, tensions and voicings of the comping instrument."""
