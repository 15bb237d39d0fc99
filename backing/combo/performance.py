"""A performance: every part of every pass, and the clock."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from fractions import Fraction

from backing.combo.feel import Clock
from backing.combo.instruments import Instrument
from backing.combo.part import Note, Part
from backing.routine import Pass


@dataclass(frozen=True, slots=True)
class PlayedNote:
    """A note in time: ``onset_beats`` and ``end_beats`` from the performance's start, exact.

    Swing and lateness are applied. ``onset`` and ``end`` are the same moments in seconds.
    """

    onset_beats: Fraction
    end_beats: Fraction
    note: Note
    clock: Clock = field(repr=False, compare=False)

    @property
    def onset(self) -> Fraction:
        """When the note begins, in seconds from the start (negative: before it)."""
        return self.clock.seconds(self.onset_beats)

    @property
    def end(self) -> Fraction:
        """When the note ends, in seconds from the start."""
        return self.clock.seconds(self.end_beats)


@dataclass(frozen=True, slots=True)
class PlayedPass:
    """A pass of the routine and what each player plays in it.

    ``start`` is its first beat in the performance.
    """

    routine_pass: Pass
    start: Fraction
    parts: tuple[Part, ...]


@dataclass(frozen=True)
class Performance:
    """Passes in a row, as played, and their clock.

    ``title`` is the tune's; ``tail`` the seconds of silence and ring kept after the last beat
    (0 in a seamless loop, whose ring folds into its beginning); ``circular``: it is such a loop.
    """

    title: str
    passes: tuple[PlayedPass, ...]
    clock: Clock
    tail: Fraction = Fraction(0)
    circular: bool = False

    @property
    def part_names(self) -> tuple[str, ...]:
        """The names of the parts, in the order in which they first appear."""
        return tuple(dict.fromkeys(p.name for played in self.passes for p in played.parts))

    def instrument(self, part: str) -> Instrument:
        """The instrument of a part (the first one it plays)."""
        return next(p.instrument for done in self.passes for p in done.parts if p.name == part)

    def player(self, part: str) -> str:
        """What players call a part."""
        return "count-in" if part == "count" else part

    def notes(self, part: str) -> Iterator[PlayedNote]:
        """The notes of a part in time, pass by pass, at the tempos at which they are played.

        A note before the start (pushed, or early) has a negative onset: a loop folds it to the
        end, others begin it at 0.
        """
        for played in self.passes:
            for mine in played.parts:
                if mine.name == part:
                    yield from self.in_time(mine.notes, played.start)

    def in_time(self, notes: Iterable[Note], start: Fraction) -> Iterator[PlayedNote]:
        """Notes of a pass that begins at beat ``start``, in time, those of its tempo alone."""
        clock = self.clock
        for note in notes:
            first = start + note.onset
            here = clock.at(first)
            if note.tempos is not None and not note.sounds_at(here.tempo):
                continue
            late = here.late(note.lateness_ms)
            if note.melodic:
                late += here.melodic_late(first)
            onset = (clock.played(first) if note.swung else first) + late
            last = first + note.length
            end = (clock.played(last) if note.swung else last) + late
            yield PlayedNote(onset, max(onset, end), note, clock)
