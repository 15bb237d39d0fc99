"""Pages as a reader finds them: what is printed, in which fonts, on which paper."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import pytest
from pypdf import PdfReader

import backing
from backing.chart.harmony import parse_chord
from backing.chart.pitch import Interval, PitchName
from backing.chart.text.tune_file import read, read_file
from backing.errors import OutputError, PracticeError
from backing.neck.fingerboard import make_fingerboard
from backing.neck.shapes import shape
from backing.sheet.chart import chart_block
from backing.sheet.diagram import diagram
from backing.sheet.grids import pairs_block
from backing.sheet.line_block import staff_line
from backing.sheet.page_setup import make_page_setup
from backing.sheet.request import SheetRequest, chosen_position
from backing.sheet.sheet_part import make_sheet_part
from backing.sheet.sheets import Sheet, arpeggio_sheet, tune_sheet

TUNES = Path(__file__).parents[2] / "tunes"
FORM = read_file(TUNES / "low-tide-ferry.tune")
POINT_MM = 25.4 / 72


def pdf(sheet: Sheet) -> PdfReader:
    (data,) = sheet.pages("pdf")
    return PdfReader(io.BytesIO(data))


def text(reader: PdfReader) -> str:
    return "\n".join(page.extract_text() for page in reader.pages)


def fonts(reader: PdfReader) -> set[str]:
    found = re.findall(r"/BaseFont\s*:?\s*'?/([A-Z]{6}\+)?([\w-]+)", str(
        [page.get("/Resources", {}).get_object() for page in reader.pages]))  # fmt: skip
    names = {name for _, name in found}
    for page in reader.pages:
        for font in page["/Resources"].get("/Font", {}).values():  # type: ignore[union-attr]
            names.add(str(font.get_object()["/BaseFont"]).partition("+")[2])
    return names


def test_a_chart_says_title_facts_bars_and_centers() -> None:
    said = text(pdf(tune_sheet(FORM, SheetRequest())))
    for words in ("Low Tide Ferry", "G minor", "132", "swing", "Coda", "pedal D", "hits 1 2& 4&",
                  "break 1", "two feel", "A♭ major", "32", "A A2 B A:1-7 coda"):  # fmt: skip
        assert words in said, words


def test_every_page_says_which_program_made_it_and_how() -> None:
    recipe = "backing sheet low-tide-ferry.tune --line etude --bars 1-8"
    reader = pdf(tune_sheet(FORM, SheetRequest(line="etude", bars="1-8", recipe=recipe)))
    made = f"backing {backing.__version__} · {recipe}"
    assert all(made in page.extract_text() for page in reader.pages)
    assert reader.metadata is not None
    assert reader.metadata.title == "Low Tide Ferry: Etude 1, position 5, level 1"
    assert reader.metadata.subject == made


def test_the_legend_tells_the_two_lines_apart() -> None:
    said = text(pdf(tune_sheet(FORM, SheetRequest())))
    assert "line from the 3rd" in said
    assert "line from the 7th" in said
    alone = text(pdf(tune_sheet(FORM, SheetRequest(chart=False, line="guide", bars="1-4"))))
    assert "line from the 3rd" not in alone


def test_a_ribbon_stands_under_every_row_with_chords() -> None:
    for tune in TUNES.glob("*.tune"):
        form = read_file(tune)
        for section in chart_block(form, form, make_page_setup())["sections"]:
            for row in section["rows"]:
                assert {piece["dashed"] for bar in row["bars"] for piece in bar["ribbon"]} == {
                    False, True,
                }  # fmt: skip


def test_a_chart_that_nearly_fits_a_page_is_made_to() -> None:
    """Nine rows, with an intro, cues and changes for the soloists."""
    assert len(pdf(tune_sheet(FORM, SheetRequest())).pages) == 1


def test_a_key_is_never_printed_in_letters() -> None:
    form = read_file(TUNES / "paper-route-blues.tune")
    said = text(pdf(tune_sheet(form, SheetRequest())))
    assert "B♭ major" in said
    assert "Bb" not in said


def test_only_the_fonts_that_come_along_are_used() -> None:
    request = SheetRequest(position="auto", line="etude")
    used = fonts(pdf(tune_sheet(FORM, request)))
    assert used
    assert all(name.startswith(("Lato", "BackingSigns", "LibertinusSerif")) for name in used), used


@pytest.mark.parametrize(("paper", "size"), [("a4", (210, 297)), ("letter", (215.9, 279.4))])
def test_pages_have_the_size_of_their_paper(paper: str, size: tuple[float, float]) -> None:
    box = pdf(tune_sheet(FORM, SheetRequest(page=make_page_setup(paper)))).pages[0].mediabox
    assert float(box.width) * POINT_MM == pytest.approx(size[0], abs=0.1)
    assert float(box.height) * POINT_MM == pytest.approx(size[1], abs=0.1)


def test_large_print_is_larger() -> None:
    pages = [len(pdf(tune_sheet(FORM, SheetRequest(page=make_page_setup(large=large)))).pages)
             for large in (False, True)]  # fmt: skip
    assert pages[0] < pages[1]


@pytest.mark.parametrize("name", ["corner-booth", "rain-on-the-awning"])
def test_a_chart_of_32_bars_fits_a_page_in_large_print(name: str) -> None:
    request = SheetRequest(page=make_page_setup(large=True))
    assert len(pdf(tune_sheet(read_file(TUNES / f"{name}.tune"), request)).pages) == 1


def test_a_part_in_b_flat_is_a_tone_higher() -> None:
    said = text(pdf(tune_sheet(FORM, SheetRequest(part=make_sheet_part("Bb")))))
    assert "A minor" in said
    assert "B♭ part" in said


def test_the_same_sheet_is_the_same_file() -> None:
    request = SheetRequest(position="5", line="guide")
    one, other = (tune_sheet(FORM, request).pages("svg") for _ in range(2))
    assert one == other


def test_svg_pages_are_whole() -> None:
    for page in tune_sheet(FORM, SheetRequest(position="5", line="etude")).pages("svg"):
        assert ElementTree.fromstring(page).tag.endswith("svg")


@pytest.mark.parametrize("tune", sorted(TUNES.glob("*.tune")), ids=lambda path: path.stem)
def test_every_demo_tune_prints(tune: Path) -> None:
    reader = pdf(tune_sheet(read_file(tune), SheetRequest(position="auto", line="guide")))
    assert len(reader.pages) >= 2


def test_rows_have_four_bars_and_signs_stand_at_their_bars() -> None:
    form = read("key: C\nsection A\n|: C6 | Am7 | Dm7 | G7 | [1] Em7 :| [2] C6 | F6 | %% |\n")
    (section,) = chart_block(form, form, make_page_setup())["sections"]
    assert [len(row["bars"]) for row in section["rows"]] == [4, 3, 2]  # %% is not torn apart
    first, second, third = section["rows"]
    assert first["bars"][0]["opens"]
    assert [bar["ending"] and bar["ending"]["text"] for bar in second["bars"]] == [
        "1.", "2.", None,
    ]  # fmt: skip
    assert second["bars"][0]["closes"] == 2
    assert [bar["sign"] for bar in third["bars"]] == ["%%", "%%2"]
    assert first["bars"][0]["number"] == "1, 6"


def test_a_center_that_goes_on_is_named_once() -> None:
    form = read("key: C\nsection A\n| C6 | Am7 | Dm7 | G7 | C6 | Am7 | Dm7 | G7 |\n")
    (section,) = chart_block(form, form, make_page_setup())["sections"]
    lines = [row["centers"] for row in section["rows"]]
    assert [[line["text"] for line in row] for row in lines] == [["C major"], [""]]
    assert [row[-1]["ends"] for row in lines] == [False, True]


def test_a_player_writes_the_centers_or_leaves_them_out() -> None:
    text = "key: C\nsection A\n| C6 | Am7 | Dm7 | G7 | C6 | Am7 | Dm7 | G7 |\n"
    form = read(text + "center 1-2: A minor\ncenter 5-8: none\n")
    (section,) = chart_block(form, form, make_page_setup())["sections"]
    lines = [[(line["text"], line["from"], line["to"]) for line in row["centers"]]
             for row in section["rows"]]  # fmt: skip
    assert lines == [[("A minor", 0, 2), ("C major", 2, 4)], []]
    higher = form.transposed(Interval.of_semitones(2))
    (section,) = chart_block(higher, higher, make_page_setup())["sections"]
    assert section["rows"][0]["centers"][0]["text"] == "B minor"


# grids


def test_a_grid_shows_every_tone_with_its_degree() -> None:
    board = make_fingerboard()
    found = shape(parse_chord("Dm7"), board, 5)
    svg = diagram(found, board)
    assert len(re.findall(r"<circle", svg)) + svg.count('rx="1.5"') == len(found.tones)
    roots = [tone for tone in found.tones if tone.degree.number == 1]
    assert svg.count('rx="1.5"') == len(roots)
    assert ElementTree.fromstring(svg).get("font-family") == "Lato"


def test_left_handed_grids_are_mirror_images() -> None:
    boards = [make_fingerboard(left_handed=left) for left in (False, True)]
    found = shape(parse_chord("Dm7"), boards[0], 5)
    rights, lefts = (
        sorted(float(x) for x in re.findall(r'<circle cx="([\d.]+)"', diagram(found, board)))
        for board in boards
    )
    width = float(diagram(found, boards[0]).split('viewBox="0 0 ')[1].split()[0])
    assert [round(width - x, 3) for x in reversed(rights)] == lefts


def test_each_cadence_of_a_tune_is_a_pair_of_grids() -> None:
    """Common practice, no source: a ii before its V, a V before its I, each pair once."""
    form = read("key: C\nhead: A B\nsection A\n| Dm7 | G7 | Cmaj7 | A7 | Dm7 | G7 | C6 | % |\n"
                "section B\n| Fm7 Bb7 | Ebmaj7 | D7 | G7 |\n")  # fmt: skip
    request = SheetRequest(position="5", pairs=True)
    images: dict[str, str] = {}
    block = pairs_block(form, request, chosen_position(form, request), images)
    shown = [
        ["".join(cell["chord"][part] for part in ("root", "accidental", "suffix"))
         for cell in pair["cells"]]
        for pair in block["pairs"]
    ]  # fmt: skip
    assert shown == [["Dm7", "G7"], ["G7", "Cmaj7"], ["A7", "Dm7"], ["G7", "C6"],
                     ["Fm7", "B♭7"], ["B♭7", "E♭maj7"]]  # fmt: skip
    assert [pair["where"] for pair in block["pairs"]][:2] == ["bars 1 5", "bar 2"]
    assert len(images) == 2 * len(shown)


def test_fingers_stand_beside_their_tones_inside_the_grid() -> None:
    for left in (False, True):
        board = make_fingerboard(left_handed=left)
        found = shape(parse_chord("Bm7"), board, 1)  # with open strings
        svg = diagram(found, board, fingers=True)
        width = float(svg.split('viewBox="0 0 ')[1].split()[0])
        numbers = re.findall(r'x="([\d.]+)" y="[\d.]+" font-size="8.6"[^>]*>(\d)<', svg)
        assert [int(n) for _, n in numbers] == [t.finger for t in found.tones if t.finger]
        assert len(numbers) < len(found.tones)
        assert all(float(x) + 8.6 * 0.58 / 2 <= width for x, _ in numbers)


def test_the_whole_set_has_every_quality() -> None:
    said = text(pdf(arpeggio_sheet(PitchName.parse("Bb"), SheetRequest())))
    for words in ("All arpeggios on B♭", "alt", "dim", "sus4", "maj7", "13"):
        assert words in said


@pytest.mark.parametrize("tuning", ["bass", "ukulele", "seven-string", "drop-d"])
def test_other_necks_have_grids(tuning: str) -> None:
    board = make_fingerboard(tuning, 20)
    assert len(pdf(tune_sheet(FORM, SheetRequest(position="auto", board=board))).pages) >= 2


def test_what_cannot_be_printed_is_said_so() -> None:
    with pytest.raises(OutputError, match="isn't a paper size"):
        make_page_setup("a0")
    with pytest.raises(PracticeError, match='There is no part for "oboe"'):
        make_sheet_part("oboe")
    with pytest.raises(PracticeError, match="isn't a clef"):
        make_sheet_part("C", "alto")
    with pytest.raises(PracticeError, match="nothing on it"):
        tune_sheet(FORM, SheetRequest(chart=False))
    with pytest.raises(PracticeError, match="fretted instruments"):
        tune_sheet(FORM, SheetRequest(position="5", part=make_sheet_part("Bb")))
    with pytest.raises(PracticeError, match="Position 30 is off the neck"):
        tune_sheet(FORM, SheetRequest(position="30"))


@pytest.mark.parametrize(
    ("name", "level"), [("low-tide-ferry", 2), ("corner-booth", 4), ("rain-on-the-awning", 2)]
)
def test_a_chart_of_32_bars_and_its_etude_are_two_facing_pages(name: str, level: int) -> None:
    """Of the demo tunes those whose systems are the tallest."""
    form = read_file(TUNES / f"{name}.tune")
    asked = SheetRequest(line="etude", etude=backing.read_line(f"etude level {level}"))
    assert len(pdf(tune_sheet(form, asked)).pages) == 2


# what goes on which page

LONG = read(
    "title: T\nkey: Eb\nhead: A A2 B A2\nsection A\n"
    "| Ebmaj7 | Cm7 F7 | Fm7 | Bb7 |\n| Gm7 C7b9 | Fm7 Bb7 | Ebmaj7 Ab7 | Gm7b5 C7b9 |\n"
    "section A2 = A\nbars 7-8: | Eb6 | Fm7 Bb7 |\n"
    "section B\n| Abm7 | Db7 | Gbmaj7 | % |\n| F#m7 | B7 | Emaj7 | Fm7 Bb7 |"
)
"""32 bars with 16 chords: one more than fill three rows of grids."""
BASS = {"part": make_sheet_part("bass"), "board": make_fingerboard("bass")}


def systems_of(sheet: Sheet) -> list[int]:
    (line,) = (block for block in sheet.content["blocks"] if block["kind"] == "line")
    return [len(page) for page in line["pages"]]


@pytest.mark.parametrize("line", ["bass", "guide"])
def test_a_line_of_32_bars_for_bass_fits_its_page(line: str) -> None:
    sheet = tune_sheet(LONG, SheetRequest(chart=False, line=line, guide="3rd", **BASS))
    assert systems_of(sheet) == [8]
    assert len(pdf(sheet).pages) == 1


@pytest.mark.parametrize("line", ["etude", "guide"])
@pytest.mark.parametrize("large", [False, True])
@pytest.mark.parametrize("title", ["T", "A Title That Is Much Too Long for One Line of Any Sheet"])
def test_no_page_has_a_lone_system(line: str, large: bool, title: str) -> None:
    page = make_page_setup(large=large)
    sheet = tune_sheet(replace(LONG, title=title), SheetRequest(chart=False, line=line, page=page))
    counts = systems_of(sheet)
    assert len(pdf(sheet).pages) == len(counts) > 1
    assert max(counts) - min(counts) <= 1


def test_a_heading_of_grids_stands_over_them_and_no_grid_stands_alone() -> None:
    reader = pdf(tune_sheet(LONG, SheetRequest(position="3", **BASS)))
    assert len(reader.pages) == 2
    chart, grids = (page.extract_text() for page in reader.pages)
    assert "Shapes in position 3" not in chart
    assert "Shapes in position 3" in grids
    assert len(re.findall(r"^bars? \d", grids, re.MULTILINE)) == 16


def test_a_short_last_system_is_no_wider_than_its_bars() -> None:
    """Bars 6-9 are three of one section and one of the next."""
    sheet = tune_sheet(LONG, SheetRequest(chart=False, line="etude", bars="6-9"))
    staves = [
        max(int(x) for x in re.findall(r'class="staff">\s*<path d="M0 \d+ L(\d+)', svg))
        for _, svg in sorted(sheet.images.items())
    ]
    assert staves[1] <= staves[0]  # of its one bar, and of the widest of the three


def test_no_option_is_torn_apart_at_the_foot() -> None:
    for words in range(40):
        recipe = f"backing sheet {'a' * words}.tune " + "--no-chart --no-tab --part bass " * 8
        said = text(pdf(tune_sheet(LONG, SheetRequest(recipe=recipe.strip()))))
        assert not re.search(r"-\n", said), said


def test_guide_tones_of_a_bass_lie_in_its_staff() -> None:
    """Most between its lines or on the ledger line next to them, none beyond the second one."""
    for tune in [LONG, *map(read_file, sorted(TUNES.glob("*.tune")))]:
        request = SheetRequest(line="guide", guide="both", **BASS)
        line = staff_line(tune, request, chosen_position(tune, request))
        tones = [t for bar in line.values for value in bar for t in value.tones]
        written = [t.pitch + 12 for t in tones]
        inside = [40 <= pitch <= 60 for pitch in written]  # E2 and C4, as written
        assert sum(inside) >= 0.75 * len(inside)
        assert all(36 <= pitch <= 64 for pitch in written), tune.title
        assert all(t.place for t in tones)
