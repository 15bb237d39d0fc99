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
    notes = make(tmp_path, "--line", "etude position 5", "--bars", "1-8", *ONCE)
    assert len(notes) == 64
    assert max(pitch for _, pitch in notes) - min(pitch for _, pitch in notes) < 36


def test_the_same_line_at_every_tempo_and_another_for_each_number(tmp_path: Path) -> None:
    loop = ["--bars", "1-4", *ONCE]
    pitches = [p for _, p in make(tmp_path, "--line", "etude", *loop, "--climb", "80-160:80")]
    half = pitches[: len(pitches) // 2]
    assert half == pitches[len(pitches) // 2 :]
    assert half == [p for _, p in make(tmp_path, "--line", "etude 1", *loop, "--seed", "2")]
    assert half != [p for _, p in make(tmp_path, "--line", "etude 2", *loop)]


def test_a_call_leaves_as_much_space_for_the_answer(tmp_path: Path) -> None:
    notes = make(tmp_path, "--line", "call", "--bars", "1-8", *ONCE)
    assert {int(quarter // 8) for quarter, _ in notes} == {0, 2}


def test_the_line_rests_where_the_band_lays_out(tmp_path: Path) -> None:
    notes = make(tmp_path, "--line", "etude", "--bars", "1-8", "--drill", "lay out 4", *ONCE)
    assert max(quarter for quarter, _ in notes) < 16.5


def test_a_line_rests_in_the_rest_bar_between_times(tmp_path: Path) -> None:
    loop = ["--bars", "1-2", "--times", "3", "--count-in", "0", "--drill", "rest bar"]
    notes = make(tmp_path, "--line", "etude", *loop)
    assert {int(quarter // 4) for quarter, _ in notes} == {0, 1, 3, 4, 6, 7}


def test_nobody_calls_in_a_lead_in(tmp_path: Path) -> None:
    for bars in (1, 2):
        loop = ["--bars", "5-8", "--drill", f"lead-in {bars}", *ONCE]
        first = make(tmp_path, "--line", "call", *loop)[0][0]
        assert 4 * bars <= first < 4 * bars + 4


def by_times(notes: list[tuple[float, int]], quarters: int) -> list[list[tuple[float, int]]]:
    """The notes of each time of so many quarters; one that is late by a hair is in its own."""
    last = max(quarter for quarter, _ in notes)
    return [
        [(quarter, pitch) for quarter, pitch in notes if quarter // quarters == number]
        for number in range(int(last // quarters) + 1)
    ]


def test_subdivisions_are_heard_one_after_another(tmp_path: Path) -> None:
    loop = [
        "--line",
        "subdivisions",
        "--bars",
        "9-12",
        "--count-in",
        "0",
    ]  # two of the bars have two chords
    times = by_times(make(tmp_path, *loop), 16)
    assert [len(notes) for notes in times] == [6, 6, 8, 8, 16, 16, 32, 32, 48, 48]
    # every time begins on the same note, so that each leads into the next and the last round again
    assert len({notes[0][1] for notes in times}) == 1
    assert [len(notes) for notes in by_times(make(tmp_path, *loop, "--times", "1"), 16)] == [
        6, 8, 16, 32, 48,
    ]  # fmt: skip
    named = make(tmp_path, "--line", "etude subdivisions", *loop[2:])
    assert named == make(tmp_path, *loop)
    assert named != make(tmp_path, "--line", "etude 3 subdivisions", *loop[2:])


def test_subdivisions_go_with_climbs_keys_lead_ins_and_rest_bars(tmp_path: Path) -> None:
    loop = ["--line", "subdivisions", "--bars", "9-12", *ONCE]
    counts = [6, 8, 16, 32, 48]
    climbed = by_times(make(tmp_path, *loop, "--climb", "80-160:80"), 16)
    assert [len(notes) for notes in climbed] == counts * 2
    assert [p for notes in climbed[:5] for _, p in notes] == [
        p for notes in climbed[5:] for _, p in notes
    ]
    keys = by_times(make(tmp_path, *loop, "--key", "F Bb"), 16)
    assert [len(notes) for notes in keys] == counts * 2
    led = by_times(make(tmp_path, *loop, "--drill", "lead-in 4, rest bars 4"), 16)
    assert len(led[0]) == 8  # a lead-in in wholes; its four bars have two chords each
    assert [len(notes) for notes in led[1::2]] == counts
    assert [len(notes) for notes in led[2::2]] == [0] * 4
    grown = by_times(make(tmp_path, *loop, "--drill", "grow"), 4)
    assert len(grown) == 5 * (1 + 2 + 4)
    assert [len(notes) for notes in grown[5 * (1 + 2) :: 4]] == [1, 2, 4, 8, 12]


def test_subdivisions_are_named_in_the_summary_and_the_marks(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    target = tmp_path / "line.mid"
    words = ["--line", "subdivisions", "--bars", "9-12"]
    assert main(["track", TUNE, "-o", str(target), *words]) == 0
    assert ", wholes halves quarters eighths triplets, " in capsys.readouterr().err
    marks = [m.text for t in mido.MidiFile(target).tracks for m in t if m.type == "marker"]
    place = marks[1].split(" in ")[0]
    assert marks == ["count-in"] + [
        f"{place} in {value}, {number} time"
        for value in ("wholes", "halves", "quarters", "eighths", "triplets")
        for number in ("1st", "2nd")
    ]


def test_calls_start_where_they_are_told_or_in_turn(tmp_path: Path) -> None:
    calls = ["--bars", "1-4", "--times", "5", "--count-in", "0"]

    def starts(line: str) -> list[int]:
        beats = [int(quarter) for quarter, _ in make(tmp_path, "--line", line, *calls)]
        return [min(beat for beat in beats if beat // 16 == n) % 16 for n in range(5)]

    assert starts("call") == starts("call on each in turn") == [0, 0, 1, 2, 0]
    assert starts("on 3 call") == [2] * 5
    assert starts("call on 1&") == [0] * 5


def test_calls_start_in_turn_from_key_to_key(tmp_path: Path) -> None:
    calls = ["--line", "call", "--bars", "1-4", "--count-in", "0", "--key", "F Bb Eb Ab"]
    times = by_times(make(tmp_path, *calls, "--times", "1"), 16)
    assert [int(notes[0][0] % 16) for notes in times] == [0, 0, 1, 2]
    times = by_times(make(tmp_path, *calls, "--times", "2"), 16)
    assert [int(notes[0][0] % 16) for notes in times] == [0, 0, 1, 2] * 2


@pytest.mark.parametrize(
    ("words", "part"),
    [
        (["--line", "etude"], "line"),
        (["--line", "call"], "line"),
        (["--line", "subdivisions"], "line"),
        (["--trade", "4 with line"], "line"),
        (["--line", "guide"], "guide"),
        (["--line", "guide both and etude"], "guide"),
        (["--click", "all"], "click"),
    ],
)
def test_what_is_asked_for_is_not_left_out(
    words: list[str], part: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    target = tmp_path / "x.mid"
    assert main(["track", TUNE, "-o", str(target), *words, "--without", part]) == 2
    said = f"backing: The {part} is asked for and left out at once. Leave out one or the other.\n"
    assert capsys.readouterr().err == said
    assert not target.exists()
    assert main(["track", TUNE, "-o", str(target), *words, "--without", "bass", *ONCE]) == 0


def test_triplets_are_played_as_written_and_off_beats_swing(tmp_path: Path) -> None:
    loop = ["--bars", "1-4", *ONCE]
    triplets = [quarter for quarter, _ in make(tmp_path, *loop, "--line", "triplets")]
    assert triplets == pytest.approx([n / 3 for n in range(48)])
    swung = [quarter for quarter, _ in make(tmp_path, *loop, "--line", "off-beats")]
    assert [int(quarter) for quarter in swung] == list(range(16))
    assert all(0.6 < quarter % 1 < 0.75 for quarter in swung)


def test_guide_tones_are_heard_beside_a_line(tmp_path: Path) -> None:
    loop = ["--bars", "1-4", *ONCE]
    alone = make(tmp_path, *loop, "--line", "etude")
    assert make(tmp_path, *loop, "--line", "guide from the 7th and etude") == alone
    both = notes_of(tmp_path / "line.mid", "guide")
    assert main(["track", TUNE, "-o", str(tmp_path / "g.mid"), "--line", "guide", *loop]) == 0
    first = notes_of(tmp_path / "g.mid", "guide")
    assert len(first) == len(both)
    assert first != both


def test_fours_traded_with_a_line_go_in_phrases(tmp_path: Path) -> None:
    fours = ["--bars", "1-8", "--trade", "4 with line", *ONCE]
    notes = make(tmp_path, *fours)
    assert {int(quarter // 8) for quarter, _ in notes} == {2, 3}
    assert notes == make(tmp_path, *fours, "--line", "etude phrases")
    first = ["--bars", "1-8", "--trade", "4, line first", *ONCE]
    assert {int(quarter // 8) for quarter, _ in make(tmp_path, *first)} == {0, 1}
    assert make(tmp_path, *fours, "--line", "eighths level 2") != notes


def test_the_drums_come_first_where_they_are_asked_to(tmp_path: Path) -> None:
    loop = ["--bars", "1-8", *ONCE]
    for trade, bars in (("4", {0, 1, 2, 3}), ("4 drums first", {4, 5, 6, 7})):
        target = tmp_path / "x.mid"
        assert main(["track", TUNE, "-o", str(target), "--trade", trade, *loop]) == 0
        assert {int(quarter // 4) for quarter, _ in notes_of(target, "bass")} == bars


@pytest.mark.parametrize(
    "words",
    [
        ["--line", "solo"],
        ["--line", ","],
        ["--line", "etude position 99"],
        ["--line", "etude position high"],
        ["--line", "level 9"],
        ["--line", "sixteenths"],
        ["--line", "call quarters"],
        ["--line", "guide quarters"],
        ["--line", "guide subdivisions"],
        ["--line", "call subdivisions"],
        ["--line", "subdivisions quarters"],
        ["--line", "subdivisions on 2"],
        ["--line", "subdivisions", "--choruses", "5"],
        ["--line", "guide on 2"],
        ["--line", "etude on 2"],
        ["--line", "phrases on 2"],
        ["--line", "call on 5"],
        ["--line", "call on 2&"],
    ],
)
def test_what_no_line_can_be_is_said(
    words: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["track", TUNE, "-o", str(tmp_path / "x.mid"), *words]) == 2
    said = capsys.readouterr().err
    assert said.startswith("backing: ")
    assert "Traceback" not in said
