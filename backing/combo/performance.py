"""A performance: every part of every pass, and the clock that puts it into seconds."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

from backing.combo.feel import Clock
from backing.combo.instruments import Instrument
from backing.combo.part import Note, Part
from backing.routine import Pass


@dataclass(frozen=True, slots=True)
class PlayedNote:
    """A note in time: ``onset`` and ``end`` in seconds from the start, exact.

    ``onset_beats`` and ``end_beats`` are the same moments on the performance's beats, with swing
    and lateness applied.
    """

    onset: Fraction
    end: Fraction
    onset_beats: Fraction
    end_beats: Fraction
    note: Note


@dataclass(frozen=True, slots=True)
class PlayedPass:
    """A pass and what each player plays in it; ``start`` is its first beat in the performance."""

    plan: Pass
    start: Fraction
    parts: tuple[Part, ...]


@dataclass(frozen=True)
class Performance:
    """All that sounds: passes in a row, and their clock.

    ``title`` is the tune's; ``tail`` the seconds of silence and ring kept after the last beat
    (0 in a loop, whose ring folds into its beginning); ``circular`` says that it is such a loop.
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

    def bar_lines(self) -> tuple[Fraction, ...]:
        """The exact times in seconds of all bar lines, the end of the last bar included."""
        beat, lines = Fraction(0), [Fraction(0)]
        for played in self.passes:
            for bar in played.plan.bars:
                beat += bar.length
                lines.append(self.clock.seconds(beat))
        return tuple(lines)

    def notes(self, part: str) -> Iterator[PlayedNote]:
        """The notes of a part in time, pass by pass, at the tempos at which they are played.

        A note that its lateness or a push puts before the start of the performance has a negative
        onset: a loop folds it to the end, others begin it at 0.
        """
        for played in self.passes:
            for mine in played.parts:
                if mine.name == part:
                    for note in mine.notes:
                        if note.sounds_at(self.clock.at(played.start + note.onset).tempo):
                            yield self._in_time(note, played.start)

    def _in_time(self, note: Note, start: Fraction) -> PlayedNote:
        clock = self.clock
        first = start + note.onset
        tempo = clock.at(first).tempo
        # thousandths of a millisecond keep the fractions small
        late = Fraction(round(note.lateness_ms * 1000), 60_000_000) * tempo
        onset = clock.played(first, swung=note.swung) + late
        end = max(clock.played(start + note.end, swung=note.swung) + late, onset)
        return PlayedNote(clock.seconds(onset), clock.seconds(end), onset, end, note)
