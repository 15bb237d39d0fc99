"""Several tunes in one page: the sounds once, each tune as on a page of its own."""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from backing.chart.text.tune_file import read_file
from backing.cli import main
from backing.combo.band import Band
from backing.lines.phrase import read_line
from backing.mixdown.soundfont import SoundFont
from backing.page import Opening, PageMaker, Piece
from backing.page.score import make_score
from backing.page.strip import GRID, merged, wanted
from tests.page.conftest import ROOT, opened

TUNES = ("corner-booth", "kite-string-waltz", "paper-route-blues")
FURTHER = 1_000_000
"""What a further tune may cost, in bytes."""


@pytest.fixture(scope="session")
def set_file(font: SoundFont, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A page of three tunes, the second with vibes and opening with a session."""
    forms = [read_file(ROOT / "tunes" / f"{name}.tune") for name in TUNES]
    lesson = Opening(session={"bars": "9-12", "climb": "60%", "times": "2"})
    pieces = [
        Piece(forms[0]),
        Piece(forms[1], Band(comp="vibes"), lesson, name="The waltz, slowly"),
        Piece(forms[2]),
    ]
    path = tmp_path_factory.mktemp("set") / "set.html"
    path.write_bytes(PageMaker(font).pages(pieces, title="Homework"))
    return path


def test_a_further_tune_is_small(set_file: Path, long_file: Path) -> None:
    more = set_file.stat().st_size - long_file.stat().st_size
    assert more < (len(TUNES) - 1) * FURTHER


def test_what_several_want_is_kept_once() -> None:
    """Every note of every tune lies within half a grid of a sound of its own instrument."""
    forms = [read_file(ROOT / "tunes" / f"{name}.tune") for name in TUNES]
    bands = (Band(), Band(comp="vibes"), Band())
    needs = [wanted(make_score(form, band)) for form, band in zip(forms, bands, strict=True)]
    together = {(part.name, part.instrument): part for part in merged(needs)}
    assert len(together) == len(merged(needs))
    for part in (part for need in needs for part in need):
        whole = together[part.name, part.instrument]
        assert set(part.velocities) <= set(whole.velocities)
        reach = 0 if part.instrument.kit else GRID // 2
        for key in part.keys:
            assert min(abs(key - other) for other in whole.keys) <= reach


def test_tasks_of_one_tune_are_each_as_on_a_page_of_its_own(font: SoundFont) -> None:
    form = read_file(ROOT / "tunes" / "stairwell-study.tune")
    openings = (
        Opening(session={"bars": "1-2", "climb": "60%"}), Opening(solo=True),
        Opening(session={"bars": "3-4"}), Opening(session={"choruses": "2", "ending": "tag"}),
    )  # fmt: skip
    pieces = [Piece(form, Band(), opening, recipe=str(at)) for at, opening in enumerate(openings)]
    maker = PageMaker(font)
    assert len(maker.pages(pieces[:3])) - len(maker.pages(pieces[:1])) < 2_000
    together = _data(maker.pages(pieces))
    # but for the sounds: the tag needs some of its own
    alone = [_data(maker.pages([piece]))[0] for piece in pieces]
    for one, other in zip(together, alone, strict=True):
        assert _without(one, "id", "sound") == _without(other, "id", "sound")
    assert len({each["id"] for each in together}) == len(pieces)


def _data(page: bytes) -> list[dict[str, Any]]:
    """All that each tune of a page says, what it shares with an earlier one included."""
    pattern = r'class="tune" data-name="[^"]*"(?: data-of="(\d+)")?>(.*?)</script>'
    tunes: list[dict[str, Any]] = []
    for of, text in re.findall(pattern, page.decode()):
        tunes.append((tunes[int(of)] if of else {}) | json.loads(text))
    return tunes


def _without(data: dict[str, Any], *names: str) -> dict[str, Any]:
    return {name: value for name, value in data.items() if name not in names}


def test_a_tune_is_chosen_from_the_list_and_plays(tab: Page, set_file: Path) -> None:
    page = opened(tab, set_file)
    expect(page.locator("#title")).to_have_text("Corner Booth")
    page.locator("#play").click()
    page.locator("#piece").select_option(label="2. The waltz, slowly")
    expect(page.locator("#title")).to_have_text("Kite String Waltz")
    expect(page.locator("#play-word")).to_have_text("Play")
    expect(page.locator("#plan")).to_contain_text("Bars 9 to 12")
    expect(page.locator("#plan")).to_contain_text(
        "climbing from 60 to 105 percent of the tune's tempo"
    )
    page.locator("#play").click()
    struck = page.evaluate("practice.player.given.length")
    assert struck > 0
    assert page.evaluate("practice.player.given.every(({ voice }) => voice)")
    page.locator("#band").click()
    expect(page.get_by_role("button", name="Comp (vibes)")).to_be_visible()


def test_a_task_of_the_same_tune_is_chosen_and_plays(
    tab: Page, font: SoundFont, tmp_path: Path
) -> None:
    form = read_file(ROOT / "tunes" / "stairwell-study.tune")
    lines = ("etude", "etude off-beats", "etude")
    pieces = [
        Piece(form, Band(), Opening(read_line(line), session={"bars": bars}), name=f"Task {at}")
        for at, (line, bars) in enumerate(zip(lines, ("1-2", "2-3", "3-4"), strict=True))
    ]
    path = tmp_path / "tasks.html"
    path.write_bytes(PageMaker(font).pages(pieces))
    page = opened(tab, path)
    for at, told in ((2, "Bars 3 to 4"), (1, "Bars 2 to 3"), (0, "Bars 1 to 2")):
        page.locator("#piece").select_option(index=at)
        expect(page.locator("#title")).to_have_text("Stairwell Study")
        expect(page.locator("#plan")).to_contain_text(told)
        opens = page.evaluate("practice.data.line.opens")
        assert opens == ("off-beats" if at == 1 else "eighths")
        page.locator("#play").click()
        assert page.evaluate("practice.player.given.length") > 0
        page.locator("#play").click()


def test_the_command_makes_a_set(
    tmp_path: Path, font: SoundFont, monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:  # fmt: skip
    monkeypatch.chdir(tmp_path)
    for name in ("stairwell-study", "paper-route-blues"):
        shutil.copy(ROOT / "tunes" / f"{name}.tune", tmp_path)
    names = ["stairwell-study.tune", "paper-route-blues.tune"]
    words = ["--soundfont", str(font.path)]
    assert main(["page", *names, "-o", "set.html", *words]) == 0
    page = (tmp_path / "set.html").read_text("utf-8")
    found = re.findall(r'class="tune" data-name="([^"]*)">(.*?)</script>', page)
    assert [name for name, _ in found] == ["Stairwell Study", "Paper Route Blues"]
    assert f"backing page {names[1]}" in json.loads(found[1][1])["recipe"]
    assert page.count('id="strip"') == 1
    assert "Stairwell Study, Paper Route Blues -> set.html" in capsys.readouterr().err
    Path("broken.tune").write_text("title: Broken\nsection A\n| H7 |\n", "utf-8")
    assert main(["page", names[0], "broken.tune", "-o", "other.html", *words]) == 2
    assert "broken.tune:3:3" in capsys.readouterr().err
    assert not Path("other.html").exists()
