"""Tune files read and written: every construct, and the round trips between text and form."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given, settings

from backing.chart.bar import Change, Meter
from backing.chart.form import Form
from backing.chart.pitch import Key, PitchName
from backing.chart.text.tune_file import read, read_file, write
from backing.errors import Span, TuneError, UserError
from backing.reading import TUNE_BYTES
from tests.strategies import forms, tune_texts

FULL = """\
# for the second lesson
title:    Two Doors
by:       somebody
key:      F minor
meter:    3/4
tempo:    132.5
feel:     waltz
head:     intro A A2 B
head out: A B:1-2 coda
notes:    brushes
notes:    mind the bridge

section intro  feel: two
pickup: | C7 / |
| N.C. | C7 |

# the melody is in the tenor
section A
|: Fm / Bbm7 | [1,2] Gm7b5 C7 / :| [3] Fm6 | % |
solos: | Fm7 | | Abmaj7 |
|: Db7       | C7               :| x3
hits 1-2: 1 2&
push 3: 3 by a quarter
lay out 1: comp drums

section A2 = A
bars 1-2: | Fm7 | % |
bars 4: | Ab7 |
solos: | D7 |

section B  key: Ab major  meter: 6/8  tempo: x3/2
| Bbm7 Eb7 | Abmaj7 | %% |
break 1-2: 1
stop-time 3: 1.2 2
pedal 1-4: Eb
late 1: 2

section coda
| Fm6 |
break 1:
"""


def chords(form: Form, order: str = "head") -> str:
    return " | ".join(
        " ".join(str(c.chord or "N.C.") + f"@{c.onset}" * bool(c.onset) for c in bar.changes)
        for bar in form.played(order)
    )


def changes_of(line: str, meter: str = "4/4") -> str:
    """The second bar of a tune, so that it cannot be a pickup."""
    return chords(read(f"key: C\nmeter: {meter}\n| B |\n{line}")).removeprefix("B | ")


def test_a_full_file_comes_back_as_it_was() -> None:
    assert write(read(FULL)) == FULL


def test_headers() -> None:
    form = read(FULL)
    assert (form.title, form.by, form.feel) == ("Two Doors", "somebody", "waltz")
    assert (form.key, form.meter) == (Key(PitchName("F"), "minor"), Meter(3, 4))
    assert form.tempo == Fraction(265, 2)
    assert form.notes == ("brushes", "mind the bridge")
    assert form.remarks == ("for the second lesson",)
    assert form.section("A").remarks == ("the melody is in the tenor",)


def test_a_feel_file_keeps_its_capitals() -> None:
    form = read("key: C\nfeel: My Feels/Late.toml\nsection A  feel: Two\n| C |")
    assert (form.feel, form.section("A").feel) == ("My Feels/Late.toml", "two")


def test_only_a_key_and_bars_are_needed() -> None:
    form = read("key: Bb\n| Bb7 | Eb7 |", "tunes/my_blues.tune")
    assert form.title == "my blues"
    assert (form.by, form.meter, form.tempo, form.feel) == ("", Meter(4, 4), 120, "swing")
    assert [section.name for section in form.sections] == ["A"]
    assert (form.head, form.solos, form.out) == (None, None, None)


def test_tempo_may_say_its_unit() -> None:
    assert read("key: C\ntempo: 60 bpm\n| C |").tempo == 60


@pytest.mark.parametrize("ratio", ["x1/2", "1/2", "x 0.5", "×1/2"])
def test_a_section_may_change_its_tempo(ratio: str) -> None:
    form = read(f"key: C\nsection A  tempo: {ratio}\n| C |")
    assert form.section("A").tempo_ratio == Fraction(1, 2)


@pytest.mark.parametrize(
    ("meter", "line", "expected"),
    [
        # common practice, no source: chords divide a bar evenly where each gets whole beats
        ("4/4", "| C |", "C"),
        ("4/4", "| C F |", "C F@2"),
        ("4/4", "| C F G A |", "C F@1 G@2 A@3"),
        ("4/4", "| C / F G |", "C F@2 G@3"),
        ("4/4", "| C F G / |", "C F@1 G@2"),
        ("4/4", "| C / / F |", "C F@3"),
        ("4/4", "| C /// |", "C"),
        ("4/4", "| C7(b9 #11) F |", "C7(b9 #11) F@2"),
        ("4/4", "| C7 (b9 #11) F | # 9 bars", "C7 (b9 #11) F@2"),
        ("2/4", "| C F |", "C F@1"),
        ("3/4", "| C F G |", "C F@1 G@2"),
        ("3/4", "| C / F |", "C F@2"),
        ("5/4", "| C F |", "C F@3"),
        ("5/4", "| C / F / / |", "C F@2"),
        ("6/4", "| C F |", "C F@3"),
        ("6/4", "| C F G |", "C F@2 G@4"),
        ("7/4", "| C F |", "C F@4"),
        ("6/8", "| C F |", "C F@1"),
        ("9/8", "| C / F |", "C F@2"),
        ("12/8", "| C F |", "C F@2"),
        ("12/8", "| C / / F |", "C F@3"),
        ("4/4", "| N.C. |", "N.C."),
        ("4/4", "| C nc |", "C N.C.@2"),
        ("4/4", "| C/E Dm7/G |", "C/E Dm7/G@2"),
        ("4/4", "| C7 (b9) F |", "C7 (b9) F@2"),
        ("4/4", "| C6/9 |", "C6/9"),
        ("4/4", "|C|F|", "C | F"),
        ("4/4", "| C || F ||", "C | F"),
        ("4/4", "| F#m7 |  # a note", "F#m7"),
        ("4/4", "||: C :||", "C | C"),
        ("4/4", "|: C :| |: F :|", "C | C | F | F"),
        ("4/4", "|: C :|: F :|", "C | C | F | F"),
        ("4/4", "|: C | [1.] F :| [ 2 ] G |", "C | F | C | G"),
    ],
)
def test_bars(meter: str, line: str, expected: str) -> None:
    assert changes_of(line, meter) == expected


def test_a_repeat_may_run_over_several_lines() -> None:
    assert changes_of("|: C | F |\n| [1] G | A :|\n| [2] D |") == "C | F | G | A | C | F | D"


def test_words_of_the_band_may_be_spelled_as_players_do() -> None:
    form = read(
        "key: C\n| C |\n| F |\nHit 1: 1, 2+\nstop time 2: 1\nLay-out 1: Piano, drummer\nLATE 1: 1"
    )
    written = write(form)
    assert "hits 1: 1 2&" in written
    assert "stop-time 2: 1" in written
    assert "lay out 1: comp drums" in written
    assert "late 1: 1" in written


def test_notes_to_the_reader() -> None:
    form = read(
        "# top\nkey: C  # beside\nsection A\n# inside\n| C |  #last\n# next\nsection B\n| F |"
    )
    assert form.remarks == ("top", "beside")
    assert form.section("A").remarks == ("inside", "last")
    assert form.section("B").remarks == ("next",)


def test_free_texts_are_written_on_one_line_without_a_note_in_them() -> None:
    form = replace(read("key: C\n| C |"), title="#1  of\nTwo #2")
    assert read(write(form)).title == "♯1 of Two ♯2"


@settings(max_examples=100)
@given(forms())
def test_what_is_written_reads_as_the_same_form(form: Form) -> None:
    text = write(form)
    again = read(text)
    assert again == form
    assert write(again) == text


@settings(max_examples=60)
@given(tune_texts())
def test_untidy_texts_read_as_tidy_ones(written: tuple[str, Form]) -> None:
    text, form = written
    again = read(text)
    assert without_remarks(again) == without_remarks(form)
    assert write(read(write(again))) == write(again)


@settings(max_examples=60)
@given(tune_texts())
def test_every_span_slices_back_to_what_it_is_for(written: tuple[str, Form]) -> None:
    text, _ = written
    lines = text.removeprefix("\ufeff").replace("\r\n", "\n").split("\n")
    for span, token in spans(read(text)):
        cut = lines[span.line - 1][span.column - 1 : span.column - 1 + span.length]
        assert cut == token if isinstance(token, str) else token(cut)


def without_remarks(form: Form) -> Form:
    bare = tuple(replace(section, remarks=()) for section in form.sections)
    return replace(form, remarks=(), sections=bare)


def spans(form: Form) -> Iterator[tuple[Span, object]]:
    """Every span of a form with its token, or a test of it."""
    for use in (*(form.head or ()), *(form.solos or ()), *(form.out or ())):
        assert use.span
        yield use.span, str(use)
    for section in form.sections:
        assert section.span
        yield section.span, section.name
        for cue in section.cues:
            assert cue.span
            yield cue.span, lambda cut: ":" in cut and cut == cut.strip()
        if section.pickup:
            yield from changes_spans(section.pickup.changes)
        rows = (*section.rows, *(part.row for part in section.replacements))
        for bar in (bar for row in rows for bar in (*row.bars, *row.solos) if bar):
            assert bar.span
            if bar.sign:
                yield bar.span, bar.sign
            yield from changes_spans(bar.changes)


def changes_spans(changes: tuple[Change, ...]) -> Iterator[tuple[Span, object]]:
    for change in changes:
        assert change.span
        yield change.span, str(change.chord) if change.chord else "N.C."


def test_a_file_may_begin_with_a_byte_order_mark(tmp_path: Path) -> None:
    path = tmp_path / "dürer's march.tune"
    path.write_bytes("\ufefftitle: Grüße\r\nkey: E♭\r\n| E♭△ |\r\n".encode())
    form = read_file(path)
    assert form.title == "Grüße"
    assert str(form.sections[0].rows[0].bars[0].changes[0].chord) == "E♭△"


@pytest.mark.parametrize(
    ("data", "cause"),
    [
        (b"title: Gr\xfc\xdfe\nkey: C\n| C |", "isn't UTF-8 text (see byte 10)"),
        (b"\xff\xfek\0e\0y\0", "isn't UTF-8 text"),
        (b"MThd\0\0\0\6", "isn't a text file"),
        (b"#" * (TUNE_BYTES + 1), "too long for a tune."),
    ],
)
def test_files_that_are_no_tune(tmp_path: Path, data: bytes, cause: str) -> None:
    path = tmp_path / "x.tune"
    path.write_bytes(data)
    with pytest.raises(UserError) as caught:
        read_file(path)
    assert cause in caught.value.cause
    assert str(path) in caught.value.cause
    assert caught.value.cure


def test_files_that_cannot_be_opened(tmp_path: Path) -> None:
    with pytest.raises(UserError, match="There is no file"):
        read_file(tmp_path / "none.tune")
    with pytest.raises(UserError, match="is a folder"):
        read_file(tmp_path)
    with pytest.raises(UserError, match="cannot be read"):
        read_file("a\0b.tune")
    (tmp_path / "file").write_text("key: C\n| C |")
    with pytest.raises(UserError, match="cannot be read: Not a directory"):
        read_file(tmp_path / "file" / "x.tune")


def test_signs_that_are_no_text_become_spaces() -> None:
    form = read("title: Red\x1b[31m \u202eInk\nkey: C\n| C7\x0b(b9) | F\x07 |")
    assert form.title == "Red [31m Ink"
    assert [str(bar.changes[0].chord) for bar in form.played("head")] == ["C7 (b9)", "F"]


def test_problems_name_the_file(tmp_path: Path) -> None:
    path = tmp_path / "x.tune"
    path.write_text("key: C\n| Cq |")
    with pytest.raises(TuneError) as caught:
        read_file(path)
    assert str(caught.value).startswith(f"{path}:2:4: ")


def test_an_empty_path_and_text_are_refused() -> None:
    with pytest.raises(TuneError) as caught:
        read("")
    causes = [problem.cause for problem in caught.value.problems]
    assert causes == ["This tune has no bars."]
