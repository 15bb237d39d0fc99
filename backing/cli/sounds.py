"""``backing sounds``: the SoundFonts found, their license, and which one is used."""

from __future__ import annotations

from backing.cli.parser import Words
from backing.cli.status import DONE, show
from backing.mixdown.soundfont import choose, find_soundfonts

BETTER_SOUNDS = """
Put .sf2 or .sf3 files into a folder called soundfonts, or name one with --soundfont. On Debian
and Ubuntu, apt-get install fluid-soundfont-gm or musescore-general-soundfont gives better sounds
under the MIT license, which are also the ones to prefer for tracks you give away."""


def sounds(words: Words) -> int:
    """Show the SoundFonts found, and which one is used and why."""
    given = words.path("soundfont")
    used = choose(given)
    for font in find_soundfonts(given):
        mark = "->" if font.path == used.path else "  "
        show(f"{mark} {font.name}\n     {font.path}\n     license: {font.licence}")
    show(f"\nUsed: {used.name}. {used.reason}\n{BETTER_SOUNDS}")
    return DONE
