"""Lead sheets of notation programs: harmonies, repeats, jumps, pickups, transposing parts."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path

import music21
import pytest

from backing.chart.form import Form
from backing.chart.musicxml import read, read_file
from backing.chart.outline import chords, in_ascii
from backing.errors import UserError

HARMONY = "<harmony><root><root-step>{}</root-step></root>{}</harmony>"


def note(quarters: int = 4) -> str:
    return f"<note><rest/><duration>{quarters}</duration></note>"


def bar(
    step: str, kind: str = "<kind>major-seventh</kind>", extra: str = "", fill: str = ""
) -> str:
    return extra + HARMONY.format(step, kind) + (fill or note())


def lead_sheet(*measures: str, attributes: str = "", head: str = "") -> Form:
    """A form read from the contents of measures in 4/4."""
    first = (
        "<attributes><divisions>1</divisions><key><fifths>0</fifths></key>"
        f"<time><beats>4</beats><beat-type>4</beat-type></time>{attributes}</attributes>"
    )
    body = "".join(
        f'<measure number="{n}">{first if n == 1 else ""}{content}</measure>'
        for n, content in enumerate(measures, 1)
    )
    return read(
        f'<score-partwise version="4.0">{head}<part-list><score-part id="P1"><part-name/>'
        f'</score-part></part-list><part id="P1">{body}</part></score-partwise>'
    )


def played(form: Form, order: str = "head") -> str:
    """The chords of every bar; after a pushed or delayed one < or > and by how many beats."""
    bars = form.played(order)
    moved = [[c.early for c in bar.changes if c.early] for bar in bars]
    shown = [
        chords(bar) + "".join(f"{'<' if early > 0 else '>'}{abs(early)}" for early in each)
        for bar, each in zip(bars, moved, strict=True)
    ]
    return in_ascii(" | ".join(shown))


@pytest.mark.parametrize(
    ("kind", "symbol"),
    [
        ('<kind text="7">dominant</kind>', "C7"),
        ("<kind>dominant</kind>", "C7"),
        ('<kind use-symbols="yes" text="7">major-seventh</kind>', "Cmaj7"),
        ('<kind text="7alt">dominant</kind>', "C7alt"),
        ('<kind text="-7">minor-seventh</kind>', "C-7"),
        ('<kind text="m7b5">half-diminished</kind>', "Cm7b5"),
        ('<kind text="13">dominant-13th</kind>', "C13"),
        (('<kind text="7sus4">suspended-fourth</kind>'
         "<degree><degree-value>7</degree-value><degree-alter>0</degree-alter>"
         "<degree-type>add</degree-type></degree>"), "C7sus4"),
        (('<kind text="7">dominant</kind><degree><degree-value>9</degree-value>'
         "<degree-alter>-1</degree-alter><degree-type>add</degree-type></degree>"), "C7(b9)"),
        (("<kind>dominant</kind><degree><degree-value>5</degree-value>"
         "<degree-alter>1</degree-alter><degree-type>alter</degree-type></degree>"), "C7#5"),
        (("<kind>major</kind><degree><degree-value>9</degree-value>"
         "<degree-alter>0</degree-alter><degree-type>add</degree-type></degree>"), "Cadd9"),
        ("<kind>minor</kind><bass><bass-step>E</bass-step><bass-alter>-1</bass-alter></bass>",
         "Cm/Eb"),
        ('<kind text="Maj9#11">other</kind>', "CMaj9#11"),
        ('<kind text="N.C.">none</kind>', "N.C."),
    ],
)  # fmt: skip
def test_a_harmony_is_the_chord_a_player_sees(kind: str, symbol: str) -> None:
    assert played(lead_sheet(bar("C", kind))) == symbol


def test_chords_stand_on_their_beats_and_last_until_the_next() -> None:
    two = HARMONY.format("D", "<kind>minor-seventh</kind>") + note(3)
    two += HARMONY.format("G", "<kind>dominant</kind>") + note(1)
    form = lead_sheet(two, bar("C"), note())
    assert played(form) == "Dm7 / / G7 | Cmaj7 | Cmaj7"
    assert form.sections[0].rows[0].bars[2].sign == "%"


def test_a_chord_off_the_beat_is_brought_forward() -> None:
    offset = HARMONY.format("G", "<kind>dominant</kind><offset>1.5</offset>")
    form = lead_sheet(HARMONY.format("C", "<kind>major</kind>") + offset + note(), bar("F"))
    assert played(form) == "C G7<1/2 | Fmaj7"
    late = HARMONY.format("F", "<kind>major</kind><offset>3.5</offset>")
    assert played(lead_sheet(bar("C", extra="", fill=late + note()), note())) == "Cmaj7 | F<1/2"


def test_repeats_and_endings_stay_as_they_are_written() -> None:
    forward = '<barline location="left"><repeat direction="forward"/></barline>'
    first = '<barline location="left"><ending number="1" type="start"/></barline>'
    back = (
        '<barline location="right"><ending number="1" type="stop"/>'
        '<repeat direction="backward"/></barline>'
    )
    second = '<barline location="left"><ending number="2" type="start"/></barline>'
    form = lead_sheet(bar("C", extra=forward), bar("D", extra=first) + back, bar("E", extra=second))
    assert played(form) == "Cmaj7 | Dmaj7 | Cmaj7 | Emaj7"
    assert [b.ending for b in form.sections[0].rows[0].bars] == [(), (1,), (2,)]


def test_sections_follow_rehearsal_marks_and_come_again() -> None:
    def mark(name: str) -> str:
        return (
            f"<direction><direction-type><rehearsal>{name}</rehearsal></direction-type></direction>"
        )

    form = lead_sheet(
        bar("F", extra=mark("Intro")),
        bar("C", extra=mark("A")),
        bar("G", extra=mark("B")),
        bar("C", extra=mark("A")),
        bar("D", extra=mark("A")),
    )
    assert [str(use) for use in form.order("head")] == ["intro", "A", "B", "A", "A2"]
    assert [section.name for section in form.sections] == ["intro", "A", "B", "A2"]


def test_a_key_that_changes_inside_a_repeat_is_written_out() -> None:
    key = "<attributes><key><fifths>-3</fifths><mode>major</mode></key></attributes>"
    back = '<barline location="right"><repeat direction="backward"/></barline>'
    form = lead_sheet(bar("C"), bar("E", extra=key) + back)
    assert played(form) == "Cmaj7 | Emaj7 | Cmaj7 | Emaj7"
    assert {str(b.key) for b in form.played("head")} == {"C major", "Eb major"}


def test_a_coda_is_for_the_last_time() -> None:
    form = lead_sheet(
        bar("C") + '<sound tocoda="coda"/>',
        bar("D") + '<sound dacapo="yes"/>',
        '<direction><direction-type><coda/></direction-type><sound coda="coda"/></direction>'
        + bar("E"),
    )
    assert played(form) == "Cmaj7 | Dmaj7"
    assert played(form, "out") == "Cmaj7 | Emaj7"


def test_dal_segno_al_fine_belongs_to_the_head() -> None:
    form = lead_sheet(
        bar("C"),
        '<direction><direction-type><segno/></direction-type><sound segno="s"/></direction>'
        + bar("D") + '<sound fine="yes"/>',
        bar("E") + '<sound dalsegno="s"/>',
    )  # fmt: skip
    assert played(form) == "Cmaj7 | Dmaj7 | Emaj7 | Dmaj7"


def test_a_short_first_measure_is_a_pickup() -> None:
    form = lead_sheet(bar("G", "<kind>dominant</kind>", fill=note(1)), bar("C"))
    assert [b.number for b in form.played("head")] == [0, 1]
    assert form.played("head")[0].length == 1


def test_a_part_for_a_transposing_instrument_is_read_in_concert_pitch() -> None:
    transpose = "<transpose><diatonic>-1</diatonic><chromatic>-2</chromatic></transpose>"
    form = lead_sheet(bar("D"), attributes=transpose)
    assert played(form) == "Cmaj7"
    assert str(form.key) == "Bb major"


def test_minor_is_known_by_its_last_chord_where_no_mode_is_given() -> None:
    assert str(lead_sheet(bar("E"), bar("A", "<kind>minor</kind>")).key) == "A minor"
    assert str(lead_sheet(bar("A", "<kind>minor</kind>"), bar("C")).key) == "C major"


def test_a_lead_sheet_that_music21_wrote() -> None:
    score = music21.stream.Score()
    part = music21.stream.Part()
    for number, (figure, tones) in enumerate(
        [("Dm7", "d"), ("G7", "g"), ("CM7", "c"), ("B-m7", "b-"), ("F#m7b5", "f#")], 1
    ):
        measure = music21.stream.Measure(number=number)
        if number == 1:
            measure.append([music21.meter.TimeSignature("3/4"), music21.key.Key("C")])
        measure.append(
            [music21.harmony.ChordSymbol(figure), music21.note.Note(tones, quarterLength=3)]
        )
        part.append(measure)
    score.insert(0, part)
    data = music21.musicxml.m21ToXml.GeneralObjectExporter(score).parse()
    form = read(data)
    found = [b.changes[0].chord for b in form.played("head")]
    assert [(str(c.root), c.quality.name) for c in found if c] == [
        ("D", "minor-seventh"), ("G", "dominant"), ("C", "major-seventh"),
        ("Bb", "minor-seventh"), ("F#", "half-diminished"),
    ]  # fmt: skip
    assert str(form.meter) == "3/4"


def test_compressed_files_are_read(tmp_path: Path) -> None:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        archive.writestr(
            "META-INF/container.xml",
            '<container><rootfiles><rootfile full-path="a.xml"/></rootfiles></container>',
        )
        archive.writestr(
            "a.xml",
            '<score-partwise><movement-title>Packed</movement-title><part id="P"><measure number='
            '"1"><attributes><divisions>1</divisions></attributes>' + bar("C") + "</measure></part>"
            "</score-partwise>",
        )
    file = tmp_path / "tune.mxl"
    file.write_bytes(packed.getvalue())
    assert read_file(file).title == "Packed"


@pytest.mark.parametrize(
    ("data", "cause"),
    [
        ("nothing", "This isn't MusicXML"),
        ("<html/>", "it begins with <html>"),
        ("<score-timewise/>", "no measures"),
        ("<score-partwise/>", "no measures"),
        ('<score-partwise><part id="P"><measure number="1"/></part></score-partwise>',
         "no chord symbols"),
        (b"PK\x03\x04rest", "no MusicXML in"),
        ("<!DOCTYPE a [<!ENTITY b 'c'>]><score-partwise>&d;</score-partwise>", "isn't MusicXML"),
    ],
)  # fmt: skip
def test_files_that_are_no_lead_sheets_are_refused(data: str | bytes, cause: str) -> None:
    with pytest.raises(UserError, match=cause) as caught:
        read(data)
    assert caught.value.cure


def test_a_measure_that_cannot_be_read_is_named() -> None:
    with pytest.raises(UserError, match="Measure 2: No lead sheet has the kind"):
        lead_sheet(bar("C"), bar("D", "<kind>Ruritanian</kind>"))
    meter = "<attributes><time><beats>many</beats><beat-type>8</beat-type></time></attributes>"
    with pytest.raises(UserError, match=r"Measure 2 has the meter many/8"):
        lead_sheet(bar("C"), bar("D", extra=meter))
    with pytest.raises(UserError, match="Measure 2 has the meter 11/8"):
        lead_sheet(bar("C"), bar("D", extra=meter.replace("many", "11")))


def test_files_that_are_missing_are_said_so(tmp_path: Path) -> None:
    with pytest.raises(UserError, match="There is no file"):
        read_file(tmp_path / "none.musicxml")
    (tmp_path / "bad.xml").write_text("<a>")
    with pytest.raises(UserError, match=r"bad\.xml: This isn't MusicXML"):
        read_file(tmp_path / "bad.xml")


@pytest.mark.parametrize(
    ("attributes", "cause"),
    [
        ("<divisions>many</divisions>", '"many" for its divisions'),
        ("<divisions>1e99999999</divisions>", '"1e99999999" for its divisions'),
        ("<key><fifths>none</fifths></key>", '"none" for its key'),
        ("<time><beats>4</beats><beat-type>0</beat-type></time>", "the meter 4/0"),
        ("<time><beats>\u00b2</beats><beat-type>4</beat-type></time>", "the meter \u00b2/4"),
        ("<transpose><chromatic>down</chromatic></transpose>", '"down" for its transposition'),
    ],
)
def test_numbers_that_are_none_are_refused(attributes: str, cause: str) -> None:
    with pytest.raises(UserError) as caught:
        lead_sheet(f"<attributes>{attributes}</attributes>" + bar("C"), bar("F"))
    assert f"Measure 1 has {cause}" in caught.value.cause


def test_a_tempo_that_is_out_of_this_world_is_passed_over() -> None:
    sound = '<direction><sound tempo="1e999999999"/></direction>'
    assert lead_sheet(bar("C", extra=sound, fill=note()), bar("F")).tempo == 120


@pytest.mark.parametrize("times", ["100", "65", "-3", "many", "\u00b2"])
def test_a_repeat_that_cannot_be_played_is_refused(times: str) -> None:
    """MusicXML 4.0 has non-negative whole numbers there; 64 is the most that a tune has."""
    line = f'<barline><repeat direction="backward" times="{times}"/></barline>'
    with pytest.raises(UserError, match="Measure 2 is repeated"):
        lead_sheet(bar("C", fill=note()), bar("F", extra=line))


def test_a_degree_without_end_is_refused() -> None:
    degree = (
        "<kind>major</kind><degree><degree-value>9</degree-value>"
        "<degree-alter>inf</degree-alter><degree-type>add</degree-type></degree>"
    )
    with pytest.raises(UserError, match="Measure 1"):
        lead_sheet(bar("C", degree))
