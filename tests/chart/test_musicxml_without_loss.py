"""MusicXML in without loss: every chord kept, or its change told with its measure."""

from __future__ import annotations

import io
import zipfile
from fractions import Fraction
from pathlib import Path
from xml.etree import ElementTree

import music21
import pytest

from backing.chart.cue import Hold, Rit
from backing.chart.form import Form
from backing.chart.musicxml import read, write
from backing.chart.outline import directions
from backing.chart.text.tune_file import read as read_tune
from backing.chart.text.tune_file import read_file as read_tune_file
from backing.chart.text.tune_file import write as write_tune
from backing.cli import main
from backing.errors import UserError
from tests.chart.test_musicxml_reading import HARMONY, bar, lead_sheet, note, played

ROOT = Path(__file__).parents[2]
TUNES = sorted((ROOT / "tunes").glob("*.tune"))
CORPUS = Path(music21.__file__).parent / "corpus"


def chord(step: str, kind: str = "<kind>major</kind>", offset: str = "") -> str:
    return HARMONY.format(step, kind + (f"<offset>{offset}</offset>" if offset else ""))


def meter(upper: object, lower: object) -> str:
    time = f"<time><beats>{upper}</beats><beat-type>{lower}</beat-type></time>"
    return f"<attributes>{time}</attributes>"


def direction(text: str) -> str:
    kind = f"<direction-type><words>{text}</words></direction-type>"
    return f"<direction>{kind}</direction>"


def test_two_symbols_over_one_note_share_it_and_that_is_told() -> None:
    form = lead_sheet(chord("C") + chord("F") + note(4))
    assert played(form) == "C F"
    assert form.remarks == ("Measure 1: C, F stand over one note and share it.",)


def test_symbols_without_any_note_share_the_bar() -> None:
    assert played(lead_sheet(chord("C") + chord("F"), bar("G"))) == "C F | Gmaj7"


def test_of_two_symbols_at_once_the_last_is_kept_and_that_is_told() -> None:
    at_once = chord("C", offset="2") + chord("F", offset="2") + note(4)
    form = lead_sheet(bar("G", fill=at_once))
    assert played(form) == "Gmaj7 F"
    assert form.remarks == ("Measure 1 has C and F at once; the last is kept.",)


def test_a_chord_on_the_last_off_beat_is_a_push() -> None:
    late = bar("C", fill=chord("F", offset="3.5") + note(4))
    assert played(lead_sheet(late, note())) == "Cmaj7 | F<1/2"


def test_a_last_off_beat_before_another_chord_is_late_on_the_beat() -> None:
    late = bar("C", fill=chord("F", offset="3.5") + note(4))
    form = lead_sheet(late, bar("G"))
    assert played(form) == "Cmaj7 / / F>1/2 | Gmaj7"
    assert not form.remarks


def test_a_chord_without_room_is_told() -> None:
    eighths = "".join(chord(step, offset=f"{n / 2 or ''}") for n, step in enumerate("CDEF"))
    form = lead_sheet(eighths + note(4))
    told = [remark for remark in form.remarks if "left out" in remark]
    kept = [c for b in form.played("head") for c in b.changes]
    assert len(kept) + len(told) == 4
    assert "measure 1, beat " in told[0]


@pytest.mark.parametrize(
    ("upper", "lower", "read_as", "beat"),
    [
        (2, 2, "4/4", 4), (3, 2, "6/4", 6), (3, 8, "3/4", 1.5), (7, 8, "7/4", 3.5),
        ("3+2", 8, "5/4", 2.5), (6, 16, "6/8", 1.5), (9, 4, "9/8", 9), (4, 8, "2/4", 2),
        (8, 8, "4/4", 4),
    ],
)  # fmt: skip
def test_other_meters_are_respelled(upper: object, lower: int, read_as: str, beat: float) -> None:
    fill = f"<note><rest/><duration>{int(beat * 2)}</duration></note>"
    divisions = "<attributes><divisions>2</divisions></attributes>"
    form = lead_sheet(
        divisions + meter(upper, lower) + chord("C") + fill, chord("F") + fill, chord("G") + fill
    )
    assert str(form.meter) == read_as
    assert played(form) == "C | F | G"
    assert f"is read as {read_as}" in form.remarks[0]


def test_cut_time_is_in_two_at_the_tempo_of_its_halves() -> None:
    mark = '<direction><sound tempo="200"/></direction>'
    form = lead_sheet(meter(2, 2) + mark + chord("C") + note(4))
    assert (str(form.meter), form.feel, form.tempo) == ("4/4", "two", 200)


def test_a_measure_of_two_bars_is_two_bars() -> None:
    form = lead_sheet(meter(4, 2) + chord("C") + note(4) + chord("F") + note(4))
    assert played(form) == "C | F"


def test_an_empty_kind_is_major_and_that_is_told() -> None:
    form = lead_sheet(bar("D", "<kind/>"))
    assert played(form) == "D"
    assert form.remarks == ("Measure 1: D has no kind, and is read as major.",)


def test_halves_of_a_split_bar_are_joined() -> None:
    form = lead_sheet(bar("C"), chord("F") + note(3), chord("G") + note(1), bar("D"))
    assert played(form) == "Cmaj7 | F / / G | Dmaj7"


def test_a_short_bar_inside_stands_in_its_own_meter() -> None:
    form = lead_sheet(bar("C"), chord("F") + note(2), bar("D"))
    assert [(str(b.meter), b.length) for b in form.played("head")] == [
        ("4/4", 4), ("2/4", 2), ("4/4", 4),
    ]  # fmt: skip
    assert form.remarks == ("Measure 2 has 2 of 4 beats, and stands as a bar of 2/4.",)


def test_measures_that_repeat_the_one_before_have_its_chords() -> None:
    again = (
        '<attributes><measure-style><measure-repeat type="start">1</measure-repeat>'
        "</measure-style></attributes>"
    )
    form = lead_sheet(bar("C", fill=note(2) + chord("F") + note(2)), again + note(), note())
    assert played(form) == "Cmaj7 F | Cmaj7 F | Cmaj7 F"


def test_all_faults_are_told_at_once_and_skipped() -> None:
    sheet = [bar("C"), bar("D", "<kind>Ruritanian</kind>"), bar("H"), bar("F")]
    with pytest.raises(UserError) as caught:
        lead_sheet(*sheet)
    assert "2 mistakes in the score" in str(caught.value)
    assert "Measure 2" in str(caught.value)
    assert "Measure 3" in str(caught.value)
    text = write(lead_sheet(bar("C"), bar("F"))).replace(">major-seventh<", ">Ruritanian<", 1)
    form = read(text.replace('text="maj7"', "", 1), skip=True)
    assert any("Measure 1" in remark and "left out" in remark for remark in form.remarks)
    assert played(form).endswith("Fmaj7")


def test_words_that_nothing_comes_of_are_told() -> None:
    form = lead_sheet(direction("dolce") + bar("C"), direction("a tempo") + bar("F"))
    assert form.remarks == ('Words with nothing to play, by measure: "dolce" (1), "a tempo" (2).',)


def test_fermatas_and_ritardandos_of_a_score_are_played() -> None:
    held = note(2) + "<note><rest/><duration>2</duration><notations><fermata/></notations></note>"
    slows = direction("molto rit.") + bar("C")
    form = lead_sheet(bar("C"), slows, bar("F", fill=held), direction("A tempo") + bar("G"), slows)
    cues = form.sections[0].cues
    usual = Fraction(7, 10)
    assert cues == (Hold(3, 3, Fraction(2)), Rit(2, 3, usual), Rit(5, 5, usual))
    assert not form.remarks


def test_a_ritardando_that_nothing_ends_stops_after_four_bars() -> None:
    form = lead_sheet(direction("rall.") + bar("C"), *[bar(step) for step in "DEFGA"])
    assert form.sections[0].cues == (Rit(1, 4, Fraction(7, 10)),)


def test_jumps_in_words_alone_are_followed() -> None:
    form = lead_sheet(
        bar("C") + direction("To Coda"), bar("D") + direction("D.C. al Coda"),
        direction("Coda") + bar("E"),
    )  # fmt: skip
    assert played(form, "out") == "Cmaj7 | Emaj7"


def test_scores_by_time_and_broken_containers_are_read() -> None:
    part = "<attributes><divisions>1</divisions></attributes>" + bar("C")
    by_time = (
        f'<score-timewise><measure number="1"><part id="P">{part}</part></measure></score-timewise>'
    )
    assert played(read(by_time)) == "Cmaj7"
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        archive.writestr("META-INF/container.xml", "<container><rootf")
        archive.writestr("score.xml", by_time)
    assert played(read(packed.getvalue())) == "Cmaj7"


def as_heard(form: Form) -> list[object]:
    """All that is played in all orders."""
    return [
        (b.section, b.meter, b.key, form.tempo * b.tempo_ratio, b.feel.rpartition("/")[2],
         [(c.onset, str(c.chord), c.early) for c in b.changes], directions(b.directions))
        for order in ("head", "solos", "out")
        for b in form.played(order)
    ]  # fmt: skip


@pytest.mark.parametrize("tune", TUNES, ids=lambda path: path.stem)
def test_a_tune_comes_back_with_all_the_band_does(tune: Path) -> None:
    form = read_tune_file(tune)
    back = read(write(form))
    assert as_heard(back) == as_heard(form)
    assert not back.remarks


def test_everything_a_band_does_comes_back() -> None:
    form = read_tune(
        "key: F\nhead: A A2 B\nsolos: A B\nhead out: intro A B:1-2 B coda vamp\n"
        "section A\n|: Gm7 | C7 / / F7 | [1] Fmaj7 | D7 :| [2] F6 | % |\nsolos: | | Db7 C7 |\n"
        "hits 1: 1 2&\nbreak 3-4: 1\npush 8: 1\nsection A2 = A\nbars 1: | Bbm7 |\n"
        "section B  feel: bossa  key: Ab  tempo: x1/2\n| Ab | Eb7 | Ab | % |\n"
        "stop-time 1-2: 1 3\npedal 3-4: Eb\nlay out 3-4: comp drums\nlate 2: 1 by a quarter\n"
        "hold 4: 3\nsection coda\n| F6 |: Gm7 | C7 :| x3\nrit 4-7: to 55%\nhold 7: 1\n"
        "section vamp\n|: F | Gb7 :| x4\nhold 1: 1\nsection intro = B:3-4\nhold 2: 1"
    )
    text = write(form)
    back = read(text)
    assert as_heard(back) == as_heard(form)
    assert text.count("<fermata") == 2  # signs; what is held one time of several, in words


def symbols(data: bytes) -> int:
    root = ElementTree.fromstring(data)
    return max(len(part.findall("measure/harmony")) for part in root.findall("part"))


@pytest.mark.parametrize("name", ["berlinAlexandersRagtime", "fosterBrownHair"])
def test_lead_sheets_of_a_public_corpus_lose_nothing(name: str) -> None:
    # music21's corpus (Cuthbert and Ariza 2010, ISMIR), public-domain songs
    with zipfile.ZipFile(CORPUS / "leadSheet" / f"{name}.mxl") as archive:
        inside = next(n for n in archive.namelist() if n.endswith(".xml") and "META" not in n)
        data = archive.read(inside)
    form = read(data, name)
    written = [c for s in form.sections for row in s.rows for b in row.bars for c in b.changes]
    assert len([c for c in written if c.chord]) >= symbols(data) * 0.9
    assert not any("left out" in remark for remark in form.remarks)


def test_the_command_tells_and_mends(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "odd.musicxml"
    sheet = write(lead_sheet(bar("C"), bar("F"))).replace(">major-seventh<", ">Ruritanian<", 1)
    file.write_text(sheet.replace('text="maj7"', "", 1))
    assert main(["check", str(file)]) == 2
    assert "Measure 1" in capsys.readouterr().err
    assert main(["check", str(file), "--mend"]) == 0
    out, err = capsys.readouterr()
    assert "Fmaj7" in out
    assert f"{file}: Measure 1" in err
    assert read_tune(out).title == read_tune(write_tune(read_tune(out))).title
