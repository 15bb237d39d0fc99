"""How an arrangement ends: the last chorus is turned into an ending that ends.

The turnaround is not played: the tonic stays, and one more bar one is struck by all.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

from backing.chart.bar import Change, Directions, PlayedBar, slowing
from backing.chart.harmony import Chord, parse_chord
from backing.chart.pitch import Key

ENDINGS = ("held", "short", "tag", "slow")
"""held: a last long bar one; short: a stab; tag: the last four bars three times, then held;
slow: held, the last two bars slowing down."""
TAG_BARS = 4
SLOWING_BARS, SLOWED = 2, Fraction(11, 20)
"""The bars in which it slows down, and the tempo ratio of the last chord."""


def with_ending(bars: Sequence[PlayedBar], ending: str = "held") -> tuple[PlayedBar, ...]:
    """The bars of a last chorus, with an ending from ENDINGS."""
    if _ends_as_written(bars):
        closed = (*bars[:-1], replace(bars[-1], final="short" if ending == "short" else "held"))
    else:
        tonic, settled = _settled(bars)
        last = replace(
            settled[-1],
            number=settled[-1].number + 1,
            section_bar=settled[-1].section_bar + 1,
            length=Fraction(settled[-1].meter.beats),
            changes=(Change(Fraction(0), tonic),),
            directions=Directions(),
            tempo_ratio=settled[-1].slows_to or settled[-1].tempo_ratio,
            slows_to=None,
            final="short" if ending == "short" else "held",
        )
        if ending == "tag" and len(bars) >= TAG_BARS:
            settled = (*bars[:-TAG_BARS], *_tagged(bars, settled))
        closed = (*settled, last)
    return _slowing(closed) if ending == "slow" else closed


def _ends_as_written(bars: Sequence[PlayedBar]) -> bool:
    """Whether the tune ends by itself: its last bar is held, or an ending on one chord."""
    written = bars[-1].role in ("ending", "coda", "tag") and len(bars[-1].changes) == 1
    return written or bars[-1].directions.hold is not None


def _tagged(bars: Sequence[PlayedBar], settled: Sequence[PlayedBar]) -> tuple[PlayedBar, ...]:
    """The last four bars twice with what leads back, and a third time settled."""
    again = [bar.in_time() for bar in bars[-TAG_BARS:]]
    fours = (again, again, settled[-TAG_BARS:])
    return tuple(
        replace(bar, section="tag", section_use=use, section_bar=at, section_bars=TAG_BARS)
        for use, four in enumerate(fours, 1)
        for at, bar in enumerate(four, 1)
    )


def _settled(bars: Sequence[PlayedBar]) -> tuple[Chord, tuple[PlayedBar, ...]]:
    """The closing chord, and the bars with the tonic held where the turnaround would begin."""
    place = _tonic_place(bars)
    if place is None:
        return closing_chord(bars[-1].key, None), tuple(bars)
    at, change = place
    here = bars[at]
    kept = tuple(c for c in here.changes if c.onset <= change.onset)
    stay = (Change(Fraction(0), change.chord),)
    after = tuple(replace(bar, changes=stay, directions=Directions()) for bar in bars[at + 1 :])
    settled = (*bars[:at], replace(here, changes=kept), *after)
    return closing_chord(here.key, change.chord), settled


def _tonic_place(bars: Sequence[PlayedBar]) -> tuple[int, Change] | None:
    """Where the tonic arrives for the last time: the first tonic chord of the last tonic bars.

    Only the last four bars are looked at: what stands before is not a turnaround.
    """
    for at in range(len(bars) - 1, max(-1, len(bars) - 1 - TAG_BARS), -1):
        for change in bars[at].changes:
            if change.chord is not None and is_tonic(change.chord, bars[at].key):
                return at, change
    return None


def is_tonic(chord: Chord, key: Key) -> bool:
    """Whether ``chord`` is at home in ``key``: on its first degree and at rest.

    A dominant seventh on the first degree counts (a blues rests on it); sus and altered do not.
    """
    home = chord.root.pitch_class == key.tonic.pitch_class
    return home and chord.quality.family in ("major", "minor", "minor-major", "dominant")


def closing_chord(key: Key, tonic: Chord | None) -> Chord:
    """The chord of the last bar one: the tonic with its sixth and ninth (common practice).

    A tonic seventh (blues) stays what it is.
    """
    if tonic is not None and tonic.quality.family == "dominant":
        return tonic
    minor = key.mode in ("minor", "dorian", "aeolian", "phrygian")
    if tonic is not None:
        minor = tonic.quality.family != "major"
    root = tonic.root if tonic is not None else key.tonic
    return parse_chord(f"{root}{'m6/9' if minor else '6/9'}")


def _slowing(bars: Sequence[PlayedBar]) -> tuple[PlayedBar, ...]:
    """The bars slowing down into the last one, in one bend, unless the tune does so by itself."""
    count = min(SLOWING_BARS, len(bars) - 1)
    if any(bar.slows_to is not None for bar in bars[-count - 1 :]):
        return tuple(bars)
    ratios = slowing(count, SLOWED)
    slowed = [
        replace(bar, tempo_ratio=bar.tempo_ratio * start, slows_to=bar.tempo_ratio * end)
        for bar, (start, end) in zip(bars[-count - 1 : -1], pairwise(ratios), strict=True)
    ]
    last = replace(bars[-1], tempo_ratio=bars[-1].tempo_ratio * ratios[-1])
    return (*bars[: len(bars) - count - 1], *slowed, last)
