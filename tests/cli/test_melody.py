"""A line through the changes as a part of a track."""

from __future__ import annotations

from pathlib import Path

import mido
import pytest

from backing.cli import main

TUNE = str(Path(__file__).parents[2] / "tunes" / "corner-booth.tune")
ONCE = ["--times", "1", "--count-in", "0"]


def melody_of(path: Path) -> list[tuple[float, int]]:
    """(quarter, pitch) of every note of the melody track."""
    file = mido.MidiFile(path)
    track = next(t for t in file.tracks if t.name == "melody")
    now, notes = 0, []
    for message in track:
        now += message.time
        if message.type == "note_on" and message.velocity:
            notes.append((now / file.ticks_per_beat, message.note))
    return notes


def make(folder: Path, *words: str) -> list[tuple[float, int]]:
    target = folder / "line.mid"
    assert main(["track", TUNE, "-o", str(target), *words]) == 0
    return melody_of(target)


def test_an_etude_is_unbroken_eighths(tmp_path: Path) -> None:
    notes = make(tmp_path, "--melody", "etude", "--position", "5", "--bars", "1-8", *ONCE)
    assert len(notes) == 64
    assert max(pitch for _, pitch in notes) - min(pitch for _, pitch in notes) < 36


def test_the_same_line_at_every_tempo_and_another_for_each_seed(tmp_path: Path) -> None:
    loop = ["--melody", "etude", "--bars", "1-4", *ONCE]
    pitches = [p for _, p in make(tmp_path, *loop, "--climb", "80-160:80")]
    assert pitches[: len(pitches) // 2] == pitches[len(pitches) // 2 :]
    assert pitches[: len(pitches) // 2] != [p for _, p in make(tmp_path, *loop, "--seed", "2")]


def test_a_call_leaves_as_much_space_for_the_answer(tmp_path: Path) -> None:
    notes = make(tmp_path, "--melody", "call", "--bars", "1-8", *ONCE)
    assert {int(quarter // 8) for quarter, _ in notes} == {0, 2}


def test_the_line_rests_where_the_band_lays_out(tmp_path: Path) -> None:
    notes = make(tmp_path, "--melody", "etude", "--bars", "1-8", "--lay-out", "4", *ONCE)
    assert max(quarter for quarter, _ in notes) < 16.5


def test_guide_tones_are_a_melody_too(tmp_path: Path) -> None:
    loop = ["--bars", "1-4", *ONCE]
    for name, words in {"a": ["--melody", "guide"], "b": ["--guide", "thirds"]}.items():
        assert main(["track", TUNE, "-o", str(tmp_path / f"{name}.mid"), *words, *loop]) == 0
    assert (tmp_path / "a.mid").read_bytes() == (tmp_path / "b.mid").read_bytes()


@pytest.mark.parametrize("words", [[], ["--melody", "etude", "--rhythm", "phrases"]])
def test_fours_traded_with_a_phrased_etude(words: list[str], tmp_path: Path) -> None:
    fours = ["--bars", "1-8", "--trade", "4", "--trade-with", "melody", *words, *ONCE]
    notes = make(tmp_path, *fours)
    assert {int(quarter // 8) for quarter, _ in notes} == {2, 3}
    second = make(tmp_path, *fours, "--you-second")
    assert {int(quarter // 8) for quarter, _ in second} == {0, 1}
    assert make(tmp_path, *fours, "--rhythm", "eighths", "--level", "2") != notes


def test_the_drums_come_first_by_either_word(tmp_path: Path) -> None:
    files = []
    for word in ("--drums-first", "--you-second"):
        files.append(tmp_path / f"{word}.mid")
        words = ["--trade", "4", "--bars", "1-8", *ONCE, word]
        assert main(["track", TUNE, "-o", str(files[-1]), *words]) == 0
    assert files[0].read_bytes() == files[1].read_bytes()


@pytest.mark.parametrize(
    "words",
    [
        ["--melody", "solo"],
        ["--melody", "etude", "--position", "99"],
        ["--melody", "etude", "--position", "high"],
        ["--melody", "etude", "--level", "9"],
    ],
)
def test_what_no_line_can_be_is_said(
    words: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["track", TUNE, "-o", str(tmp_path / "x.mid"), *words]) == 2
    said = capsys.readouterr().err
    assert said.startswith("backing: ")
    assert "Traceback" not in said
