"""A line through the changes as a part of a track."""

from __future__ import annotations

from pathlib import Path

import mido
import pytest

from backing.cli import main

TUNE = str(Path(__file__).parents[2] / "tunes" / "corner-booth.tune")
ONCE = ["--times", "1", "--count-in", "0"]


def notes_of(path: Path, part: str = "line") -> list[tuple[float, int]]:
    """(quarter, pitch) of every note of a track."""
    file = mido.MidiFile(path)
    track = next(t for t in file.tracks if t.name == part)
    now, notes = 0, []
    for message in track:
        now += message.time
        if message.type == "note_on" and message.velocity:
            notes.append((now / file.ticks_per_beat, message.note))
    return notes


def make(folder: Path, *words: str) -> list[tuple[float, int]]:
    target = folder / "line.mid"
    assert main(["track", TUNE, "-o", str(target), *words]) == 0
    return notes_of(target)


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


def test_a_line_rests_in_the_breath_between_rounds(tmp_path: Path) -> None:
    loop = ["--bars", "1-2", "--times", "3", "--count-in", "0", "--breath", "1"]
    notes = make(tmp_path, "--melody", "etude", *loop)
    assert {int(quarter // 4) for quarter, _ in notes} == {0, 1, 3, 4, 6, 7}


def test_nobody_calls_in_a_lead_in(tmp_path: Path) -> None:
    for bars in (1, 2):
        loop = ["--bars", "5-8", "--lead-in", str(bars), *ONCE]
        first = make(tmp_path, "--melody", "call", *loop)[0][0]
        assert 4 * bars <= first < 4 * bars + 4


def by_rounds(notes: list[tuple[float, int]], quarters: int) -> list[list[tuple[float, int]]]:
    """The notes of each round of so many quarters; one that is late by a hair is in its own."""
    last = max(quarter for quarter, _ in notes)
    return [
        [(quarter, pitch) for quarter, pitch in notes if quarter // quarters == number]
        for number in range(int(last // quarters) + 1)
    ]


def test_a_ladder_is_heard_value_by_value(tmp_path: Path) -> None:
    loop = ["--ladder", "--bars", "9-12", "--count-in", "0"]  # two of the bars have two chords
    rounds = by_rounds(make(tmp_path, *loop), 16)
    assert [len(notes) for notes in rounds] == [6, 6, 8, 8, 16, 16, 32, 32, 48, 48]
    # every round begins on the same note, so that each leads into the next and the last round again
    assert len({notes[0][1] for notes in rounds}) == 1
    assert [len(notes) for notes in by_rounds(make(tmp_path, *loop, "--times", "1"), 16)] == [
        6, 8, 16, 32, 48,
    ]  # fmt: skip
    named = make(tmp_path, *loop, "--melody", "etude")
    assert named == make(tmp_path, *loop)
    assert named != make(tmp_path, *loop, "--seed", "2")


def test_a_ladder_goes_with_climbs_keys_leads_and_breaths(tmp_path: Path) -> None:
    loop = ["--ladder", "--bars", "9-12", *ONCE]
    counts = [6, 8, 16, 32, 48]
    climbed = by_rounds(make(tmp_path, *loop, "--climb", "80-160:80"), 16)
    assert [len(notes) for notes in climbed] == counts * 2
    assert [p for notes in climbed[:5] for _, p in notes] == [
        p for notes in climbed[5:] for _, p in notes
    ]
    keys = by_rounds(make(tmp_path, *loop, "--keys", "F Bb"), 16)
    assert [len(notes) for notes in keys] == counts * 2
    led = by_rounds(make(tmp_path, *loop, "--lead-in", "4", "--breath", "4"), 16)
    assert len(led[0]) == 8  # a lead-in in wholes; its four bars have two chords each
    assert [len(notes) for notes in led[1::2]] == counts
    assert [len(notes) for notes in led[2::2]] == [0] * 4
    grown = by_rounds(make(tmp_path, *loop, "--grow"), 4)
    assert len(grown) == 5 * (1 + 2 + 4)
    assert [len(notes) for notes in grown[5 * (1 + 2) :: 4]] == [1, 2, 4, 8, 12]


def test_a_ladder_says_its_values(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    target = tmp_path / "line.mid"
    assert main(["track", TUNE, "-o", str(target), "--ladder", "--bars", "9-12"]) == 0
    assert ", wholes halves quarters eighths triplets, " in capsys.readouterr().err
    marks = [m.text for t in mido.MidiFile(target).tracks for m in t if m.type == "marker"]
    place = marks[1].split(" in ")[0]
    assert marks == ["count-in"] + [
        f"{place} in {value}, {number} time"
        for value in ("wholes", "halves", "quarters", "eighths", "triplets")
        for number in ("1st", "2nd")
    ]


def test_calls_start_where_they_are_told_or_in_turn(tmp_path: Path) -> None:
    calls = ["--melody", "call", "--bars", "1-4", "--times", "5", "--count-in", "0"]

    def starts(*words: str) -> list[int]:
        beats = [int(quarter) for quarter, _ in make(tmp_path, *calls, *words)]
        return [min(beat for beat in beats if beat // 16 == n) % 16 for n in range(5)]

    assert starts() == starts("--call-on", "turn") == [0, 0, 1, 2, 0]
    assert starts("--call-on", "3") == [2] * 5
    assert starts("--call-on", "1&") == [0] * 5


def test_calls_start_in_turn_from_key_to_key(tmp_path: Path) -> None:
    calls = ["--melody", "call", "--bars", "1-4", "--count-in", "0", "--keys", "F Bb Eb Ab"]
    rounds = by_rounds(make(tmp_path, *calls, "--times", "1"), 16)
    assert [int(notes[0][0] % 16) for notes in rounds] == [0, 0, 1, 2]
    rounds = by_rounds(make(tmp_path, *calls, "--times", "2"), 16)
    assert [int(notes[0][0] % 16) for notes in rounds] == [0, 0, 1, 2] * 2


@pytest.mark.parametrize(
    ("words", "part"),
    [
        (["--melody", "etude"], "melody"),
        (["--melody", "call"], "melody"),
        (["--ladder"], "melody"),
        (["--trade", "4", "--trade-with", "melody"], "melody"),
        (["--melody", "guide"], "guide"),
        (["--guide", "both"], "guide"),
        (["--click", "all"], "click"),
    ],
)
def test_what_is_asked_for_is_not_left_out(
    words: list[str], part: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    target = tmp_path / "x.mid"
    assert main(["track", TUNE, "-o", str(target), *words, "--without", part]) == 2
    name = "line" if part == "melody" else part
    said = f"backing: The {name} is asked for and left out at once. Leave out one or the other.\n"
    assert capsys.readouterr().err == said
    assert not target.exists()
    assert main(["track", TUNE, "-o", str(target), *words, "--without", "bass", *ONCE]) == 0


def test_triplets_are_played_as_written_and_off_beats_swing(tmp_path: Path) -> None:
    loop = ["--melody", "etude", "--bars", "1-4", *ONCE]
    triplets = [quarter for quarter, _ in make(tmp_path, *loop, "--rhythm", "triplets")]
    assert triplets == pytest.approx([n / 3 for n in range(48)])
    swung = [quarter for quarter, _ in make(tmp_path, *loop, "--rhythm", "off-beats")]
    assert [int(quarter) for quarter in swung] == list(range(16))
    assert all(0.6 < quarter % 1 < 0.75 for quarter in swung)


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


def test_the_drums_come_first_if_you_are_second(tmp_path: Path) -> None:
    fours = ["--trade", "4", "--bars", "1-8", *ONCE]
    for words, bars in ((fours, {0, 1, 2, 3}), ([*fours, "--you-second"], {4, 5, 6, 7})):
        target = tmp_path / "x.mid"
        assert main(["track", TUNE, "-o", str(target), *words]) == 0
        assert {int(quarter // 4) for quarter, _ in notes_of(target, "bass")} == bars


@pytest.mark.parametrize(
    "words",
    [
        ["--melody", "solo"],
        ["--melody", "etude", "--position", "99"],
        ["--melody", "etude", "--position", "high"],
        ["--melody", "etude", "--level", "9"],
        ["--melody", "etude", "--rhythm", "sixteenths"],
        ["--melody", "call", "--rhythm", "quarters"],
        ["--melody", "guide", "--rhythm", "quarters"],
        ["--rhythm", "off-beats"],
        ["--call-on", "2"],
        ["--ladder", "--melody", "guide"],
        ["--ladder", "--melody", "call"],
        ["--ladder", "--rhythm", "quarters"],
        ["--ladder", "--call-on", "2"],
        ["--ladder", "--choruses", "5"],
        ["--melody", "guide", "--call-on", "2"],
        ["--melody", "etude", "--call-on", "2"],
        ["--melody", "etude", "--rhythm", "phrases", "--call-on", "2"],
        ["--melody", "call", "--call-on", "5"],
        ["--melody", "call", "--call-on", "2&"],
    ],
)
def test_what_no_line_can_be_is_said(
    words: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["track", TUNE, "-o", str(tmp_path / "x.mid"), *words]) == 2
    said = capsys.readouterr().err
    assert said.startswith("backing: ")
    assert "Traceback" not in said
