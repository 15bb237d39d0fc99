"""Cases for what a take is read from: recordings, the tags of tracks, practice logs."""

from __future__ import annotations

import io
import json
import random
import shutil
import subprocess
from functools import cache
from pathlib import Path

import mido
import mutagen
import numpy as np

from backing.libsndfile import soundfile
from backing.take import log
from backing.take.hearing import hear
from backing.take.recording import _by_libsndfile, _resampled
from backing.take.track_tags import recipe_of
from tests.fuzz.harness import Target, Wrong
from tests.fuzz.mutation import damaged, encoded
from tests.fuzz.readers import folder

# ---- recordings ------------------------------------------------------------------------------

RATE = 16_000
KINDS = {"wav": "PCM_16", "flac": "PCM_16", "mp3": None, "ogg": "VORBIS", "aiff": "PCM_16"}
SOUND_WORDS = [
    b"\xff\xff\xff\xff", b"\0\0\0\0", b"\0\0\0\1", b"\x7f\x7f\x7f\x7f", b"\1\0", b"\3\0",
    b"\xff\xfb", b"\xff\x2f\0", b"\xff\x51\3\0\0\0", b"\x90\x3c\x7f", b"\x80\0\0",
    *encoded(("RIFF", "WAVE", "fmt ", "data", "LIST", "fact", "fLaC", "OggS", "vorbis", "ID3",
              "FORM", "COMM", "SSND", "MThd", "MTrk", "ftypM4A ", "moov", "mdat", "stts", "trak")),
]  # fmt: skip


@cache
def _recordings() -> dict[str, bytes]:
    """A second of two notes, a recording of each kind, and the same as MIDI."""
    time = np.arange(RATE) / RATE
    sound = (0.3 * np.sin(2 * np.pi * np.where(time < 0.5, 220, 330) * time)).astype(np.float32)
    found = {}
    for kind, encoding in KINDS.items():
        data = io.BytesIO()
        soundfile.write(data, sound, RATE, format=kind.upper(), subtype=encoding)
        found[kind] = data.getvalue()
    data = io.BytesIO()
    soundfile.write(data, np.column_stack([sound, sound]), 44_100, format="WAV", subtype="FLOAT")
    found["WAV"] = data.getvalue()
    found["mid"] = _midi()
    if shutil.which("ffmpeg"):
        (folder() / "seed.wav").write_bytes(found["wav"])
        words = ["ffmpeg", "-v", "error", "-i", "seed.wav", "-y", "seed.m4a"]
        subprocess.run(words, cwd=folder(), check=True, stdin=subprocess.DEVNULL)
        found["m4a"] = (folder() / "seed.m4a").read_bytes()
    return found


def _midi() -> bytes:
    file = mido.MidiFile()
    track = mido.MidiTrack([mido.MetaMessage("set_tempo", tempo=500_000)])
    for pitch in (60, 62, 64):
        track += [
            mido.Message("note_on", note=pitch),
            mido.Message("note_off", note=pitch, time=99),
        ]
    file.tracks.append(track)
    data = io.BytesIO()
    file.save(file=data)
    return data.getvalue()


def _recording(rng: random.Random) -> bytes:
    """The kind, a line end, and the damaged file; few that ffmpeg reads, which is started anew."""
    seeds = _recordings()
    kinds = ["m4a"] if rng.random() < 0.02 and "m4a" in seeds else [*KINDS, "WAV", "mid", "mid"]
    kind = rng.choice(kinds)
    data = bytearray(seeds[kind])
    if rng.random() < 0.5:  # in the head, where the lengths and rates are
        for _ in range(rng.choice((1, 1, 2, 4))):
            at = rng.randrange(min(len(data), 120))
            piece = rng.choice((*SOUND_WORDS[:5], rng.randbytes(rng.choice((1, 1, 2, 4)))))
            data[at : at + len(piece)] = piece
        return kind.encode() + b"\n" + bytes(data)
    return kind.encode() + b"\n" + damaged(rng, [bytes(data)], SOUND_WORDS)


def _hear(case: bytes) -> str:
    kind, _, data = case.partition(b"\n")
    path = folder() / f"take.{kind.decode()}"
    path.write_bytes(data)
    if (
        kind not in (b"mid", b"m4a") and len(data) % 50 != 7
    ):  # hearing takes longer than all reading
        return _read_sound(path)
    heard = hear(path)
    for note in heard.notes:
        if not (0 <= note.pitch <= 128 and np.isfinite((note.onset, note.end)).all()):
            raise Wrong(f"no note: {note}")
    return f"heard {min(len(heard.notes), 3)}"


def _read_sound(path: Path) -> str:
    """By libsndfile alone: ffmpeg, to which all else goes, takes a second to begin."""
    found = _by_libsndfile(path)
    if found is None:
        return "left to ffmpeg"
    rate, blocks = found
    for block in blocks:
        if not np.isfinite(_resampled(block, rate)).all():
            raise Wrong("no sound")
    return "read"


# ---- the tags of a track -----------------------------------------------------------------------


@cache
def _tagged() -> list[bytes]:
    seeds = []
    for kind, name in (("flac", "comment"), ("ogg", "comment")):
        file = folder() / f"tagged.{kind}"
        file.write_bytes(_recordings()[kind])
        tags = mutagen.File(file)
        tags[name] = "backing 1, x: backing track a.tune --bars '1-4' --line \"etude level 2\""
        tags.save()
        seeds.append(file.read_bytes())
    return seeds


TAG_WORDS = encoded(
    ("backing track ", "'", '"', "--", "COMMENT=", "comment=", "--bars", "\0\0\0\1")
)


def _tags(rng: random.Random) -> bytes:
    return damaged(rng, _tagged(), TAG_WORDS)


def _read_tags(data: bytes) -> str:
    path = folder() / "track.flac"
    path.write_bytes(data)
    return "found" if recipe_of(path) else "no recipe"


# ---- practice logs -----------------------------------------------------------------------------

TAKE = {
    "when": "2026-11-30T19:05", "tempo": 120.0, "title": "S", "sentences": ["Good."], "tones": 0.7,
    "changes": {"step": 4, "held": 1, "leap": 2, "rest": 0}, "longest_run": 12,
    "time": {"mean_ms": 4.0, "spread_ms": 18.5}, "phrases": {"count": 3}, "left": 2,
}  # fmt: skip
LOG_WORDS = encoded((
    "{", "}", "[", "]", ":", ",", "null", "true", "NaN", "Infinity", "-1e308", '"x"', '"tones": ',
    '"when": "0001-01-01T00:00"', '"when": "2026-11-30T19:05+05:00"', "[" * 5000, '{"a":' * 3000,
    '"title": 3', '"title": "</svg><script>"', '"changes": []', '"step": "4"', '"time": null',
))  # fmt: skip


def _log(rng: random.Random) -> bytes:
    lines = b"\n".join(
        json.dumps({**TAKE, "tempo": tempo}).encode() for tempo in rng.sample(range(60, 200), 3)
    )
    return damaged(rng, [lines, lines + b"\n" * 2000], LOG_WORDS)


def _read_log(data: bytes) -> str:
    path = folder() / "takes.log"
    path.write_bytes(data)
    takes = log.read(path)
    told = "\n".join(log.compared(log.latest(takes, "S"), TAKE))
    drawn = log.plot(takes)
    if "nan" in told + drawn or "inf" in told + drawn or "<script" in drawn or len(drawn) > 200_000:
        raise Wrong("figures that are none")
    log.keep(path, TAKE)
    if len(log.read(path)) != len(takes) + 1:
        raise Wrong("a take is lost")
    return "read"


TARGETS = (
    Target("recordings", _recording, _hear),
    Target("tags", _tags, _read_tags),
    Target("logs", _log, _read_log),
)
