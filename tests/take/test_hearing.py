"""Notes out of sound, held against those that were played: note F of mir_eval (Raffel et al. 2014,
onset within 50 ms, pitch within 50 cents), an instrument's own latency taken out first.

The whole table, with the better sounds of FluidR3_GM, is tests/benchmarks/take_report.py.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile

from backing.errors import UserError
from backing.take import features, recording
from backing.take.grid import SURE
from backing.take.heard import Heard
from backing.take.hearing import hear
from backing.take.recording import pieces
from tests.mixdown.band import built_in_soundfont
from tests.take.playing import RATE, Struck, conditions, note_f, performed, solo_of, solo_sound

FONT = built_in_soundfont().path
ETUDE = ("corner-booth", 140, "etude level 4", "A")
LEAST = {"dry": 0.97, "room": 0.97, "noise": 0.97, "band -20": 0.96, "band -10": 0.9, "human": 0.88}
OF_BASS = {"dry": 0.95, "room": 0.95, "noise": 0.95}


@pytest.mark.parametrize("instrument", ["guitar", "tenor", "bass"])
def test_the_notes_of_a_line_are_heard(instrument: str, tmp_path: Path) -> None:
    played = performed(*ETUDE)
    for name, (sound, notes) in conditions(played, instrument, FONT).items():
        heard = written(tmp_path, sound)
        least = LEAST[name] if instrument != "bass" else OF_BASS.get(name, LEAST[name])
        assert heard.refusal == "", name
        assert note_f(notes, heard.notes) >= least, name


def written(folder: Path, sound: np.ndarray, rate: int = RATE, **form: str) -> Heard:
    soundfile.write(folder / "take.wav", sound, rate, **form)
    return hear(folder / "take.wav")


@pytest.mark.parametrize(
    ("rate", "form"), [(8_000, "PCM_U8"), (192_000, "FLOAT"), (11_025, "PCM_16")]
)
def test_any_rate_and_depth_is_heard(rate: int, form: str, tmp_path: Path) -> None:
    sound, notes = solo_of(performed("corner-booth", 140, "etude level 1", "1-4"), "guitar", FONT)
    size = len(sound) * rate // RATE
    moved = np.interp(np.arange(size) * RATE / rate, np.arange(len(sound)), sound)
    heard = written(tmp_path, np.clip(3 * moved, -1, 1), rate, subtype=form)
    assert note_f(notes, heard.notes) >= 0.95


@pytest.mark.parametrize("cents", [-40, 38])
def test_the_tuning_is_found_and_allowed_for(cents: int, tmp_path: Path) -> None:
    sound, notes = solo_of(
        performed("corner-booth", 140, "etude level 1", "1-4"), "guitar", FONT, cents=cents
    )
    heard = written(tmp_path, sound)
    assert heard.tuning_cents == pytest.approx(cents, abs=8)
    assert note_f(notes, heard.notes) >= 0.95


def glides() -> np.ndarray:
    """A voice that glides as in speech, syllables four to a second."""
    t = np.arange(15 * RATE) / RATE
    hertz = 120 * 2 ** (0.35 * np.sin(2.3 * t) + 0.2 * np.sin(12 * t + 1) + 0.1 * np.sin(19.5 * t))
    phase = 2 * np.pi * np.cumsum(hertz) / RATE
    syllables = np.clip(np.sin(25.8 * t), -0.2, 1) + 0.2
    return 0.1 * syllables * sum(np.sin(k * phase) / k for k in range(1, 25))


def together(semitones: int) -> np.ndarray:
    """A line with a second one beside it."""
    played = performed("corner-booth", 140, "etude level 1", "1-4")
    one, _ = solo_of(played, "guitar", FONT)
    other, _ = solo_of(played, "guitar", FONT, semitones=semitones)
    return one + other


@pytest.mark.parametrize(
    ("sound", "why"),
    [
        (lambda: np.zeros(5 * RATE), "nothing to hear"),
        (lambda: np.zeros(10), "empty"),
        (lambda: 0.1 * np.random.default_rng(1).standard_normal(8 * RATE), "No clear pitches"),
        (glides, "like speech"),
        (lambda: together(4), "Several notes"),
        (lambda: together(7), "Several notes"),
    ],
    ids=["silence", "empty", "noise", "speech", "thirds", "fifths"],
)
def test_what_is_no_line_is_not_judged(sound, why: str, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    assert why in written(tmp_path, sound()).refusal


def test_a_long_recording_is_heard_in_pieces(tmp_path: Path) -> None:
    """The same take twice, across the seam of two pieces: both are heard as one alone is."""
    sound, _ = solo_of(performed("corner-booth", 80, "etude level 1", "A"), "guitar", FONT)
    once = written(tmp_path, sound)
    soundfile.write(tmp_path / "take.wav", np.concatenate([sound, sound, sound]), RATE)
    assert len(list(pieces(tmp_path / "take.wav"))) == 2
    heard = hear(tmp_path / "take.wav")
    alone = [Struck(note.onset, note.end, note.pitch) for note in once.notes]
    again = [n.moved(times * len(sound) / RATE) for times in range(3) for n in alone]
    assert note_f(again, heard.notes) >= 0.99


def test_a_phone_s_recording_is_decoded(tmp_path: Path) -> None:
    """AAC in MP4, as phones write it, made and read by ffmpeg."""
    sound, notes = solo_of(performed("corner-booth", 140, "etude level 1", "1-4"), "guitar", FONT)
    soundfile.write(tmp_path / "take.wav", sound, RATE)
    command = [
        "ffmpeg",
        "-v",
        "error",
        "-i",
        str(tmp_path / "take.wav"),
        str(tmp_path / "take.m4a"),
    ]
    subprocess.run(command, check=True)
    assert note_f(notes, hear(tmp_path / "take.m4a").notes) >= 0.95


@pytest.mark.parametrize("name", ["take.wav", "take.m4a", "take.mid", "take"])
@pytest.mark.parametrize("bytes_", [b"", b"hello", b"RIFF\x00\x00\x00\x00WAVE", b"MThd\x00\x00"])
def test_what_is_no_recording_is_refused_in_a_sentence(
    name: str, bytes_: bytes, tmp_path: Path
) -> None:
    (tmp_path / name).write_bytes(bytes_)
    with pytest.raises(UserError) as refused:
        hear(tmp_path / name)
    assert refused.value.cure


def test_the_network_is_the_one_that_was_measured() -> None:
    """A tone of 440 Hz is the A; silence has no pitch."""
    t = np.arange(features.RATE) / features.RATE
    tone = (0.1 * np.sin(2 * np.pi * 440 * t)).astype(np.float32)
    found = features.frames(tone)
    inner = slice(8, -8)
    assert found.pitch[inner] == pytest.approx(69, abs=0.2)
    assert (found.confidence[inner] > 0.5).all()


def reeds(notes: list[Struck], low: float) -> np.ndarray:
    """Notes of ten harmonics; ``low``: seconds in which each begins an octave lower, as a reed may:
    with all harmonics of that octave, of which the odd ones then fade by 200 dB a second."""
    sound = np.zeros(int((notes[-1].end + 0.5) * RATE))
    for note in notes:
        t = np.arange(int((note.end - note.onset) * RATE)) / RATE
        shape = np.minimum(1, np.minimum(t / 0.01, (t[-1] - t) / 0.01))
        turn = 2 * np.pi * 440 * 2 ** ((note.pitch - 69) / 12) * t
        whole = sum(np.sin(k * turn + k) / k**0.5 for k in range(1, 11))
        half = sum(np.sin((k - 0.5) * turn + 2 * k) / k**0.5 for k in range(1, 11))
        odd = 10 ** (-10 * np.maximum(0, t - low)) * (low > 0)
        first = int(note.onset * RATE)
        sound[first : first + len(t)] += 0.1 * shape * (whole + odd * half)
    return sound


def test_a_reed_that_begins_an_octave_low_is_heard_at_its_pitch(tmp_path: Path) -> None:
    row = [64, 67, 65, 69, 66, 62, 64, 65, 67, 64]
    notes = [Struck(0.3 + 0.4 * n, 0.66 + 0.4 * n, pitch) for n, pitch in enumerate(row)]
    for low in (0.0, 0.04, 0.08):
        heard = written(tmp_path, reeds(notes, low))
        assert [note.pitch for note in heard.notes] == row, low
        assert note_f(notes, heard.notes) == 1.0


def test_a_leap_of_an_octave_stays_one(tmp_path: Path) -> None:
    row = [52, 64, 53, 65, 55, 67, 52, 64, 64, 52]
    notes = [Struck(0.3 + 0.2 * n, 0.5 + 0.2 * n, pitch) for n, pitch in enumerate(row)]
    heard = written(tmp_path, reeds(notes, 0.0))
    assert [note.pitch for note in heard.notes] == row
    sound, played = solo_of(performed("corner-booth", 140, "etude level 1", "1-4"), "tenor", FONT)
    down = [Struck(n.onset, n.end, n.pitch - 12) for n in played]
    lower = solo_sound(down, 66, len(sound) / RATE, FONT)
    assert note_f(down, written(tmp_path, lower).notes) >= 0.97


def test_a_short_note_an_octave_from_both_neighbors_is_not_trusted(tmp_path: Path) -> None:
    """It sounds low from end to end, so that nothing tells the octave."""
    row = [64, 67, 65, 69, 66, 62, 64, 65, 67, 64]
    notes = [Struck(0.3 + 0.3 * n, 0.58 + 0.3 * n, pitch) for n, pitch in enumerate(row)]
    short = Struck(notes[4].onset, notes[4].onset + 0.07, 66)
    sound = reeds([*notes[:4], *notes[5:]], 0.0)
    begun = reeds([short], 0.3)
    sound[: len(begun)] += begun
    heard = written(tmp_path, sound).notes
    assert [note.pitch for note in heard] == [*row[:4], 54, *row[5:]]
    assert [note.sure < SURE for note in heard] == [at == 4 for at in range(10)]


@pytest.mark.parametrize("seconds", [4, 8, 600])
def test_the_borders_of_pieces_change_no_note(
    seconds: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    sound, _ = solo_of(performed("corner-booth", 140, "etude level 3", "A B"), "guitar", FONT)
    sound = np.concatenate([sound, sound, sound])
    whole = written(tmp_path, sound)
    monkeypatch.setattr(recording, "BLOCK_SECONDS", seconds)
    cut = hear(tmp_path / "take.wav")
    assert len(sound) > 80 * RATE
    assert [(n.onset, n.pitch, n.end) for n in cut.notes] == [
        (n.onset, n.pitch, n.end) for n in whole.notes
    ]
    assert cut.doubts == whole.doubts
    assert [n.sure for n in cut.notes] == pytest.approx([n.sure for n in whole.notes], abs=1e-4)


@pytest.mark.parametrize("ending", [".wav", ".m4a"])
def test_a_long_recording_takes_no_more_memory(ending: str, tmp_path: Path) -> None:
    """Peak memory of a process that hears 2 minutes, and 12: getrusage would have its parent's."""
    sound, _ = solo_of(performed("corner-booth", 140, "etude level 3", "A B"), "guitar", FONT)
    peaks = []
    for minutes in (2, 12):
        path = tmp_path / f"take{minutes}.wav"
        soundfile.write(path, np.resize(sound, minutes * 60 * RATE), RATE)
        if ending != ".wav":
            command = ["ffmpeg", "-v", "error", "-i", str(path), str(path.with_suffix(ending))]
            subprocess.run(command, check=True)
        code = (
            "from pathlib import Path; from backing.take.hearing import hear;"
            f"heard = hear(Path({str(path.with_suffix(ending))!r}));"
            f"assert heard.seconds > {60 * minutes - 1} and not heard.refusal;"
            "print(Path('/proc/self/status').read_text().split('VmHWM:')[1].split()[0])"
        )
        told = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True)
        peaks.append(int(told.stdout) / 1024)
    assert peaks[1] - peaks[0] < 30  # MB; ten minutes of power are 39
