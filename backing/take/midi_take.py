"""A take as a MIDI file: the notes of its keys."""

from __future__ import annotations

import io
import warnings
from collections.abc import Iterable, Sequence
from itertools import pairwise
from pathlib import Path
from typing import Any

from backing.errors import UserError
from backing.take.heard import Heard, HeardNote

MIDI = (".mid", ".midi", ".smf")
TOGETHER = 0.03
"""Seconds within which two keys are struck at once."""
CHORDS = 0.15
"""The part of keys struck together from which it is no single line."""
LONGEST_NOTE = 8.0
"""Seconds: a key that is never let go ends there."""


def read_midi(path: Path) -> Heard:
    """The notes of a MIDI take, from the track that has the most. Raises UserError."""
    file = _opened(path)
    seconds = float(file.get_end_time())
    parts = [part for part in file.instruments if not part.is_drum and part.notes]
    if not parts:
        return Heard((), seconds, exact=True, refusal="There are no notes in the file.")
    part = max(parts, key=lambda each: len(each.notes))
    notes = [
        HeardNote(n.start, min(n.end, n.start + LONGEST_NOTE), n.pitch, float(n.velocity))
        for n in sorted(part.notes, key=lambda n: (n.start, n.pitch))
    ]
    refusal = ""
    if _struck_together(notes) > CHORDS:
        refusal = "Several notes are struck at once, and a take is heard one note at a time."
    return Heard(tuple(_single(notes)), seconds, exact=True, refusal=refusal)


def _opened(path: Path) -> Any:
    """The file as pretty_midi reads it, keys that hang let go at its end."""
    import mido  # noqa: PLC0415 - loaded where it is needed
    import pretty_midi  # noqa: PLC0415

    cure = "Save the take again as a Standard MIDI File."
    try:
        # from memory: of a file it would ask for as many bytes as a damaged head says
        raw = mido.MidiFile(file=io.BytesIO(path.read_bytes()), clip=True)
        for track in raw.tracks:
            _let_go(track, mido)
        data = io.BytesIO()
        raw.save(file=data)
        data.seek(0)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return pretty_midi.PrettyMIDI(data)
    except FileNotFoundError:
        raise UserError(f"There is no file {path}.", "Name the recording of your take.") from None
    except IsADirectoryError:
        raise UserError(f"{path} is a folder.", "Name the recording of your take.") from None
    except (OSError, EOFError, ValueError, KeyError, IndexError, TypeError, ZeroDivisionError):
        raise UserError(f"{path} isn't a MIDI file that can be read.", cure) from None


def _let_go(track: Any, mido: Any) -> None:
    """End what is never let go, before the end of the track."""
    held: dict[tuple[int, int], int] = {}
    for message in track:
        if message.type in ("note_on", "note_off"):
            key = message.channel, message.note
            struck = message.type == "note_on" and message.velocity > 0
            held[key] = held.get(key, 0) + (1 if struck else -1)
    ends = [
        mido.Message("note_off", channel=channel, note=note, time=0)
        for (channel, note), count in held.items()
        for _ in range(max(0, count))
    ]
    at = next((i for i, m in enumerate(track) if m.type == "end_of_track"), len(track))
    if ends and at < len(track):
        ends[0].time, track[at].time = max(1, track[at].time), 0
    track[at:at] = ends


def _struck_together(notes: Sequence[HeardNote]) -> float:
    pairs = [b.onset - a.onset < TOGETHER for a, b in pairwise(notes)]
    return sum(pairs) / len(pairs) if pairs else 0.0


def _single(notes: Iterable[HeardNote]) -> list[HeardNote]:
    """One note at a time: of keys struck together the highest."""
    kept: list[HeardNote] = []
    for note in notes:
        if kept and note.onset - kept[-1].onset < TOGETHER:
            kept[-1] = max(kept[-1], note, key=lambda n: n.pitch)
        else:
            kept.append(note)
    return kept
