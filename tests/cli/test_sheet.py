"""``backing sheet``: files by suffix, pages by number, mistakes in words; MusicXML as a tune."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from pypdf import PdfReader

from backing.chart.text.tune_file import read
from backing.cli import main
from backing.sheet.sheet_part import make_sheet_part
from tests.chart.musicxml_schema import problems
from tests.cli.conftest import Run

TUNES = Path(__file__).parents[2] / "tunes"
TUNE = str(TUNES / "low-tide-ferry.tune")


@pytest.fixture(autouse=True)
def _here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def test_a_sheet_is_one_pdf(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["sheet", TUNE, "-o", "a.pdf", "--shapes", "auto", "--line", "etude"]) == 0
    assert Path("a.pdf").read_bytes().startswith(b"%PDF")
    assert capsys.readouterr().err == "Low Tide Ferry -> a.pdf\n"


@pytest.mark.parametrize(("suffix", "start"), [(".svg", b"<svg"), (".png", b"\x89PNG")])
def test_pictures_are_numbered_where_there_are_several(suffix: str, start: bytes) -> None:
    assert main(["sheet", TUNE, "-o", f"one{suffix}"]) == 0
    assert main(["sheet", TUNE, "-o", f"two{suffix}", "--shapes", "5"]) == 0
    made = sorted(path.name for path in Path().glob("*"))
    assert made == [f"one{suffix}", f"two-1{suffix}", f"two-2{suffix}"]
    assert all(Path(name).read_bytes().startswith(start) for name in made)


def test_several_tunes_go_into_a_folder() -> None:
    other = str(TUNES / "open-water.tune")
    assert main(["sheet", TUNE, other, "-o", ".", "--quiet"]) == 0
    assert sorted(path.name for path in Path().glob("*.pdf")) == [
        "low-tide-ferry.pdf", "open-water.pdf",
    ]  # fmt: skip


def test_several_tunes_are_one_pdf_in_their_order(capsys: pytest.CaptureFixture[str]) -> None:
    tunes = [str(TUNES / f"{name}.tune") for name in ("paper-route-blues", "open-water")]
    more = ["--shapes", "5", "--line", "etude level 2"]  # pictures of the same names in both
    assert main(["sheet", *tunes, "-o", "book.pdf", *more]) == 0
    assert capsys.readouterr().err == "Paper Route Blues, Open Water -> book.pdf\n"
    reader = PdfReader("book.pdf")
    titles = ["Paper Route Blues", "Open Water"]
    marks = [(mark.title, reader.get_destination_page_number(mark)) for mark in reader.outline]
    assert [title for title, _ in marks] == titles
    starts = [page for _, page in marks if page is not None]
    assert starts == sorted(set(starts))
    assert reader.metadata is not None
    assert reader.metadata.title == " · ".join(titles)
    assert " ".join(tunes) in (reader.metadata.subject or "")
    for tune, title, first in zip(tunes, titles, starts, strict=True):
        assert main(["sheet", tune, "-o", "one.pdf", *more, "--quiet"]) == 0
        alone = PdfReader("one.pdf")
        for at, page in enumerate(alone.pages):
            said = reader.pages[first + at].extract_text()
            assert set(page.extract_text().split("\n")[:-1]) <= set(said.split("\n")), title
    assert main(["sheet", *tunes, "-o", "book.png", "--quiet"]) == 0
    assert sorted(path.name for path in Path().glob("*.png")) == ["book-1.png", "book-2.png"]


def test_a_book_is_whole_or_not_there(capsys: pytest.CaptureFixture[str]) -> None:
    Path("x.tune").write_text("key: C\n| H7 |\n")
    assert main(["sheet", "none.tune", TUNE, "x.tune", "-o", "a.pdf"]) == 2
    said = capsys.readouterr().err
    assert "none.tune" in said
    assert "x.tune:2:3" in said
    assert "a.pdf isn't made: it would lack tunes." in said
    assert not Path("a.pdf").exists()


def test_arpeggios_need_no_tune() -> None:
    words = ["--arpeggios", "Eb", "--neck", "left-handed", "--large"]
    assert main(["sheet", "-o", "eb.pdf", *words]) == 0
    assert Path("eb.pdf").stat().st_size > 10_000


def test_a_musicxml_file_is_a_tune_again(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["sheet", TUNE, "-o", "a.musicxml", "--key", "Am", "--quiet"]) == 0
    assert main(["check", "a.musicxml", "--tidy"]) == 0
    form = read(capsys.readouterr().out)
    assert (form.title, str(form.key)) == ("Low Tide Ferry", "A minor")
    assert [str(use) for use in form.order("head")] == ["intro", "A", "A2", "B", "A"]


@pytest.mark.parametrize("rhythm", ["triplets", "off-beats", "wholes"])
def test_a_line_in_any_rhythm(rhythm: str) -> None:
    words = ["--line", f"etude {rhythm}", "--bars", "1-4"]
    assert main(["sheet", TUNE, "-o", "a.musicxml", *words]) == 0
    written = Path("a.musicxml").read_text("utf-8")
    assert problems(written) == []
    assert ("<tuplet" in written) == (rhythm == "triplets")
    assert main(["sheet", TUNE, "-o", "a.pdf", "--no-chart", *words]) == 0


@pytest.mark.parametrize("more", [["--line", "etude"], ["--shapes", "1"]])
def test_a_short_neck_has_its_own_positions(more: list[str]) -> None:
    """No hand is in position 5, where a line lies unless something is said, on six frets."""
    assert main(["sheet", TUNE, "-o", "a.pdf", "--neck", "6 frets", "--bars", "17-20", *more]) == 0
    assert Path("a.pdf").read_bytes().startswith(b"%PDF")


def test_a_line_goes_to_notation_programs() -> None:
    words = ["--line", "guide both", "--part", "Bb", "--clef", "bass"]
    assert main(["sheet", TUNE, "-o", "a.musicxml", *words]) == 0
    assert "<chromatic>-2</chromatic>" in Path("a.musicxml").read_text("utf-8")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ([], "Say what to print."),
        ([TUNE, "--arpeggios", "C"], "not both"),
        (["--line", TUNE, "-o", "a.pdf"], f"Write the tune first: backing sheet {TUNE} --line."),
        ([TUNE, "-o", "a.doc"], "a.doc isn't a name for a sheet."),
        ([TUNE, "-o", "a.pdf", "--paper", "a0"], '"a0" isn\'t a paper size.'),
        ([TUNE, "-o", "a.pdf", "--shapes", "30"], "Position 30 is off the neck."),
        (
            [str(TUNES / "open-water.tune"), "-o", "a.pdf", "--shapes", "pairs", "--bars", "1-4"],
            "There is no ii-V and no V-I in these bars.",
        ),
        ([TUNE, "-o", "a.pdf", "--shapes", "up"], '"up"'),
        ([TUNE, "-o", "a.pdf", "--shapes", "²"], '"²"'),
        ([TUNE, "-o", "a.pdf", "--shapes", "5", "--line", "position 7"], "one position for both"),
        ([TUNE, "-o", "a.pdf", "--line", "position 5 7"], "lies in one position"),
        ([TUNE, "-o", "a.pdf", "--line", "guide and etude"], "A sheet has one line."),
        ([TUNE, "-o", "a.pdf", "--part", "oboe"], 'There is no part for "oboe".'),
        ([TUNE, "-o", "a.pdf", "--line", "guide", "--clef", "alto"], "isn't a clef"),
        ([TUNE, "-o", "a.pdf", "--line", "solo"], '"solo" isn\'t a word for a line.'),
        ([TUNE, "-o", "a.pdf", "--line", "etude", "--bars", "90"], "90"),
        ([TUNE, "-o", "a.pdf", "--line", "etude level 9"], '"9"'),
        ([TUNE, "-o", "a.pdf", "--line", "guide level 2"], "not for guide tones"),
        ([TUNE, "-o", "a.pdf", "--line", "guide", "--seed", "2"], "--line bass"),
        ([TUNE, "-o", "a.pdf", "--no-tab"], "the staff of a line"),
        ([TUNE, "-o", "a.pdf", "--bars", "1-4"], "the chart is printed whole"),
        ([TUNE, "-o", "a.pdf", "--neck", "24 frets"], "shapes or a line"),
        ([TUNE, "-o", "a.musicxml", "--large"], "end the name in .pdf"),
        ([TUNE, "-o", "a.musicxml", "--shapes", "5"], "end the name in .pdf"),
        ([TUNE, "-o", "a.pdf", "--shapes", "--part", "Bb"], "no frets"),
        ([TUNE, "-o", "nowhere/"], "There is no folder nowhere/."),
        (["--arpeggios", "C", "-o", "a.pdf", "--key", "Bb"], "has none. Leave --key out."),
        (["--arpeggios", "C", "-o", "a.pdf", "--part", "Bb"], "has none. Leave --part out."),
        ([TUNE, "-o", "a.pdf", "--no-chart"], "This sheet has nothing on it."),
        ([TUNE, "-o", "a.pdf", "--shapes", "5", "--neck", "E2 X2"], '"X2"'),
        (["--arpeggios", "H", "-o", "a.pdf"], "German name"),
        (["--arpeggios", "C", "-o", "a.musicxml"], "MusicXML can't hold grids."),
        ([TUNE, TUNE, "-o", "a.musicxml"], "isn't a folder"),
        (["none.musicxml", "-o", "a.pdf"], "There is no file none.musicxml."),
    ],
)
def test_mistakes_are_one_clear_sentence(
    words: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["sheet", *words]) == 2
    shown = capsys.readouterr().err
    assert said in shown
    assert "Traceback" not in shown
    assert not list(Path().glob("a.*"))


def test_keys_in_turn_are_one_document(here: Path, run: Run) -> None:
    """Held against pypdf's reading of the pages: what each key has alone."""
    assert run("sheet", "four.tune", "-o", "all.pdf", "--key", "C F Bb").status == 0
    pages = [page.extract_text() for page in PdfReader(here / "all.pdf").pages]
    assert len(pages) == 3
    for key, page in zip(("C", "F", "Bb"), pages, strict=True):
        assert run("sheet", "four.tune", "-o", "one.pdf", "--key", key).status == 0
        (alone,) = PdfReader(here / "one.pdf").pages
        music = alone.extract_text().split("backing ")[0]
        assert page.startswith(music[:80])
    assert len(set(pages)) == 3
    assert run("sheet", "four.tune", "-o", "x.musicxml", "--key", "C F").complains("more than one")


def test_lines_in_keys_in_turn_follow_each_other_on_a_page(here: Path, run: Run) -> None:
    asked = ("--line", "etude", "--no-chart", "--key")
    assert run("sheet", "four.tune", "-o", "all.pdf", *asked, "C F Bb").status == 0
    blocks = _blocks(here / "all.pdf")
    assert [*blocks] == ["C major", "F major", "B♭ major"]
    for key, name in (("C", "C major"), ("Bb", "B♭ major")):
        assert run("sheet", "four.tune", "-o", "one.pdf", *asked, key).status == 0
        assert _blocks(here / "one.pdf") == {"": blocks[name]}


def _blocks(pdf: Path) -> dict[str, str]:
    """What stands under the title of each etude on the only page, by the key in the title."""
    (page,) = PdfReader(pdf).pages
    music = page.extract_text().partition("\nFour Steps: ")[0]
    _, *parts = re.split(r"Etude 1, position \d+, level 1(?:, )?(.*)\n", music)
    return dict(zip(map(str.strip, parts[::2]), map(str.strip, parts[1::2]), strict=True))


@pytest.mark.parametrize(
    ("instrument", "part", "clef"),
    [
        ("alto sax", "Eb", None),
        ("Trumpet", "Bb", None),
        ("flute", "C", None),
        ("trombone", "C", "bass"),
    ],
)
def test_instruments_read_their_part(instrument: str, part: str, clef: str | None) -> None:
    """Transpositions as in any textbook of instrumentation."""
    assert make_sheet_part(instrument) == make_sheet_part(part, clef)
