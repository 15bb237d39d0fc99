"""The recipe of a track: the command that makes the very same one again."""

from __future__ import annotations

import argparse
import shlex
from collections.abc import Iterator

from backing.chart.text.source import readable

WITHOUT_EFFECT = frozenset(
    {"command", "tunes", "output", "format", "quiet", "no_cache", "cluster", "soundfont", "seed"}
)
"""What does not change how a track sounds, and what is said anyway."""


def recipe(arguments: argparse.Namespace, usual: argparse.Namespace, tune: str, suffix: str) -> str:
    """The command for the track of one tune, all that differs from ``usual`` spelled out."""
    words = ["backing", "track", *([tune] if tune else [])]
    words += _options(arguments, usual)
    if arguments.soundfont:
        words += ["--soundfont", arguments.soundfont]
    words += ["--seed", str(arguments.seed), "--format", suffix.lstrip(".")]
    return shlex.join(map(readable, words))


def _options(arguments: argparse.Namespace, usual: argparse.Namespace) -> Iterator[str]:
    for name, value in vars(arguments).items():
        if name in WITHOUT_EFFECT or value == getattr(usual, name, value):
            continue
        yield f"--{name.replace('_', '-')}"
        if value is not True:
            yield str(value)
