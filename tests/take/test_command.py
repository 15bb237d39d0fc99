"""``backing take`` as its users meet it."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
import soundfile

from backing.cli import main
from tests.mixdown.band import built_in_soundfont
from tests.take.playing import RATE, ROOT, Struck, line_of, performed, solo_sound

FONT = built_in_soundfont().path
TUNE = str(ROOT / "tunes" / "corner-booth.tune")
WHAT = ("--tempo", "140", "--bars", "1-8", "--times", "1")
Take = Callable[..., tuple[int, str, str]]


@pytest.fixture
def take(capsys: pytest.CaptureFixture[str]) -> Take:
    """Run the command; its status, what it shows and what it tells."""

    def run(*words: str) -> tuple[int, str, str]:
        status = main(["take", *words])
        said = capsys.readouterr()
        assert "Traceback" not in said.err
        return status, said.out, said.err

    return run


@pytest.fixture(scope="session")
def recordings(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a take as sound and as MIDI, and what is none."""
    folder = tmp_path_factory.mktemp("takes")
    notes = line_of(performed("corner-booth", 140, "etude level 1", "1-8"))
    moved = [note.moved(1.0 - notes[0].onset) for note in notes]
    soundfile.write(folder / "take.wav", solo_sound(moved, 26, moved[-1].end + 1, FONT), RATE)
    midi(folder / "take.mid", notes)
    midi(folder / "hanging.mid", notes, let_go=False)
    midi(folder / "chords.mid", [*notes, *(n.moved(0.001) for n in notes)])
    midi(folder / "few.mid", notes[:5])
    midi(folder / "none.mid", [])
    return folder


def midi(path: Path, notes: list[Struck], *, let_go: bool = True) -> None:
    import mido

    events = [(n.onset, "note_on", n.pitch, n.velocity) for n in notes]
    events += [(n.end - 0.005, "note_off", n.pitch, 0) for n in notes if let_go]
    track, before = mido.MidiTrack(), 0
    for at, kind, pitch, velocity in sorted(events):
        tick = round(at * 960)
        track.append(mido.Message(kind, note=pitch, velocity=velocity, time=tick - before))
        before = tick
    file = mido.MidiFile(ticks_per_beat=480)
    file.tracks.append(track)
    file.save(path)


@pytest.mark.parametrize("name", ["take.wav", "take.mid"])
def test_three_sentences_come_first(name: str, recordings: Path, take: Take) -> None:
    status, out, err = take(TUNE, str(recordings / name), *WHAT)
    lines = out.splitlines()
    assert (status, err) == (0, "")
    assert lines[3] == ""
    assert all(line.endswith(".") for line in lines[:3])
    assert "64 notes from bar 1 to bar 8" in out


def test_programs_get_data(recordings: Path, take: Take) -> None:
    _, out, _ = take(TUNE, str(recordings / "take.mid"), *WHAT, "--json")
    data = json.loads(out)
    assert data["faults"] == []
    assert data["changes"] == {"step": 13, "held": 0, "leap": 0, "rest": 0}
    assert len(data["notes"]) == 64
    assert data["longest_run"] == 64


@pytest.mark.parametrize(
    ("ending", "begins"), [("svg", b"<svg"), ("png", b"\x89PNG"), ("html", b"<!doctype html>")]
)
def test_the_take_is_drawn(
    ending: str, begins: bytes, recordings: Path, take: Take, tmp_path: Path
) -> None:
    target = tmp_path / f"take.{ending}"
    take(TUNE, str(recordings / "take.mid"), *WHAT, "-o", str(target))
    made = target.read_bytes()
    assert made.startswith(begins)
    if ending == "svg":
        text = made.decode()
        _, out, _ = take(TUNE, str(recordings / "take.mid"), *WHAT, "--json")
        tones = json.loads(out)["kinds"]["chord tone"]
        assert text.count('rx="2" fill="#23272e"') == tones + 1  # and the one of the legend
        assert "Am7♭5" in text


def test_a_log_keeps_takes_compares_and_plots_them(
    recordings: Path, take: Take, tmp_path: Path
) -> None:
    log, plot = tmp_path / "practice.jsonl", tmp_path / "weeks.svg"
    midi_take = str(recordings / "take.mid")
    take(TUNE, midi_take, *WHAT, "--log", str(log))
    _, out, _ = take(TUNE, midi_take, *WHAT, "--log", str(log), "--compare", str(log))
    assert "longest run, eighths" in out
    assert "64 then, 64 now" in out
    kept = [json.loads(line) for line in log.read_text("utf-8").splitlines()]
    assert len(kept) == 2
    assert "notes" not in kept[0]
    assert take("--log", str(log), "-o", str(plot))[0] == 0
    assert "Your takes, 2 from" in plot.read_text("utf-8")


def test_the_track_itself_says_what_was_played(
    recordings: Path, take: Take, tmp_path: Path
) -> None:
    """Its tags hold the command that made it."""
    track = tmp_path / "track.flac"
    asked = ["track", TUNE, "-o", str(track), *WHAT, "--only", "bass", "--soundfont", str(FONT)]
    assert main(asked) == 0
    status, out, _ = take(str(track), str(recordings / "take.mid"))
    assert status == 0
    assert "64 notes from bar 1 to bar 8" in out


def test_a_place_can_be_said(recordings: Path, take: Take) -> None:
    whole = ("--tempo", "140", "--bars", "1-32", "--times", "1")
    _, unsure, _ = take(TUNE, str(recordings / "take.mid"), *whole)
    assert unsure.startswith("Not judged: not sure where")
    for said in ("bar 9", "9"):
        _, out, _ = take(TUNE, str(recordings / "take.mid"), *whole, "--starts-at", said)
        assert "notes from bar 9 to bar 16" in out
    _, out, _ = take(TUNE, str(recordings / "take.mid"), *whole, "--starts-at", "0:00")
    assert "notes from bar 1 to bar 8" in out


@pytest.mark.parametrize(
    ("name", "why"),
    [("few.mid", "too few"), ("none.mid", "no notes"), ("chords.mid", "Several notes")],
)
def test_what_cannot_be_judged_is_said(name: str, why: str, recordings: Path, take: Take) -> None:
    status, out, err = take(TUNE, str(recordings / name), *WHAT)
    assert (status, err) == (0, "")
    assert out.startswith("Not judged: ")
    assert why in out
    assert len(out.splitlines()) == 1


def test_keys_that_hang_are_let_go(recordings: Path, take: Take) -> None:
    _, out, _ = take(TUNE, str(recordings / "hanging.mid"), *WHAT)
    assert "64 notes from bar 1 to bar 8" in out


def test_another_key_is_said_and_not_judged(recordings: Path, take: Take) -> None:
    _, out, _ = take(TUNE, str(recordings / "take.mid"), *WHAT, "--key", "G")
    assert out.startswith("Not judged: the notes would fit these changes 2 half steps up")


@pytest.mark.parametrize(
    ("words", "cause"),
    [
        ((), "A take needs the tune and the recording."),
        ((TUNE,), "A take needs the tune and the recording."),
        ((TUNE, "nowhere.wav"), "There is no file nowhere.wav."),
        (("nowhere.wav", "take.wav"), "There is no file nowhere.wav."),
        ((TUNE, "take.mid", "--starts-at", "bar 99"), "isn't a place in this track"),
        ((TUNE, "take.mid", "-o", "take.gif"), "isn't a name for a picture"),
        ((TUNE, "take.mid", "--compare", "none.jsonl"), "There is no file none.jsonl."),
        ((TUNE, "take.mid", "--compare", "take.mid"), "isn't"),
        (("--log", "none.jsonl"), "Say where the plot of the log goes."),
        (("--log", "none.jsonl", "-o", "a.svg"), "There is no file none.jsonl."),
        (("take.wav", "take.mid"), "doesn't say which tune it plays"),
        (("take.wav", "take.mid", "--bars", "A"), "so --bars would change nothing"),
    ],
)
def test_a_mistake_is_one_sentence(
    words: tuple[str, ...],
    cause: str,
    recordings: Path,
    take: Take,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.chdir(recordings)
    status, out, err = take(*words, *(WHAT if TUNE in words else ()))
    assert (status, out) == (2, "")
    assert err.startswith("backing: ")
    assert cause in err
    assert err.count("\n") == 1


def test_without_the_extra_one_sentence_says_what_to_install(
    recordings: Path, take: Take, monkeypatch: pytest.MonkeyPatch
) -> None:
    from backing.take import features

    features.network.cache_clear()
    monkeypatch.setitem(sys.modules, "swift_f0", None)
    status, _, err = take(TUNE, str(recordings / "take.wav"), *WHAT)
    assert status == 2
    assert err == (
        "backing: Recordings can't be heard yet. Install what hears a recording: "
        'pip install "backing[take]".\n'
    )
