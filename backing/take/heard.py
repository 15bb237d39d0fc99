"""What was heard of a take: notes in seconds, whether they were played or listened out of sound."""

from __future__ import annotations

from dataclasses import dataclass, replace


@dataclass(frozen=True, slots=True)
class HeardNote:
    """A note: ``onset`` and ``end`` in seconds of the recording, ``pitch`` a MIDI number.

    ``level`` is a velocity (MIDI), or dB below full scale (sound). ``sure`` from 0 to 1: how
    clearly it was heard; 1 for MIDI. ``cents``: how far from its pitch, the tuning taken out.
    """

    onset: float
    end: float
    pitch: int
    level: float
    sure: float = 1.0
    cents: float = 0.0


@dataclass(frozen=True, slots=True)
class Heard:
    """A take as heard: its notes in order of time, and how far the ear can be trusted.

    ``seconds``: how long the recording is. ``tuning_cents``: how far the instrument is from A 440.
    ``doubts``: moments in seconds at which there may be an onset that is no note here. ``voiced``:
    the part of the sounding time that has a clear pitch (1 for MIDI). ``exact``: MIDI, whose onsets
    are those of the keys. ``clean``: it is so quiet between notes that a soft one would be heard.
    ``leaks``: the band is heard in it. ``refusal``: why it can't be judged, "" where it can;
    ``remarks``: what the player should know about the recording.
    """

    notes: tuple[HeardNote, ...]
    seconds: float
    tuning_cents: float = 0.0
    doubts: tuple[float, ...] = ()
    voiced: float = 1.0
    exact: bool = False
    clean: bool = True
    leaks: bool = False
    refusal: str = ""
    remarks: tuple[str, ...] = ()

    def at_speed(self, speed: float) -> Heard:
        """The same take played ``speed`` times as slowly: its seconds times so much."""
        notes = (replace(n, onset=n.onset * speed, end=n.end * speed) for n in self.notes)
        doubts = tuple(doubt * speed for doubt in self.doubts)
        return replace(self, notes=tuple(notes), seconds=self.seconds * speed, doubts=doubts)
