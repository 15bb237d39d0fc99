"""The start of a lesson's page: the words of its first page, put away with a tap, and had again."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect
from pypdf import PdfReader

from backing.cli import main
from backing.mixdown.soundfont import SoundFont
from tests.page.conftest import ROOT, opened
from tests.page.test_page import AXE

LESSON = """
title = "Monday <b>"
starts = "December 7"
tunes = ["paper-route-blues.tune"]
soundfont = "{font}"
format = "mid"
say = "Two tasks & no hurry."

[[student]]
name = "Ada"
minutes = 20

[[student.task]]
tune = "paper-route-blues.tune"
tempo = "80%"
say = "The whole tune, slowly."

[[student.task]]
tune = "paper-route-blues.tune"
line = "subdivisions"
bars = "9-12"
times = 1
"""


@pytest.fixture(scope="module")
def lesson(font: SoundFont, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A student's folder."""
    place = tmp_path_factory.mktemp("lesson")
    shutil.copy(ROOT / "tunes" / "paper-route-blues.tune", place)
    (place / "monday.toml").write_text(LESSON.format(font=font.path), "utf-8")
    assert main(["lesson", str(place / "monday.toml"), "-o", str(place / "made"), "--quiet"]) == 0
    return place / "made" / "Ada"


@pytest.fixture
def begun(tab: Page, lesson: Path) -> Page:
    tab.set_viewport_size({"width": 390, "height": 664})
    return opened(tab, lesson / "page.html")


def bare(text: str) -> str:
    return re.sub(r"\s+", "", text)


def test_it_says_what_the_first_page_on_paper_says(begun: Page, lesson: Path) -> None:
    (sheet,) = PdfReader(lesson / "0-first-page.pdf").pages
    dialog = begun.locator("#beginning")
    expect(dialog).to_be_visible()
    told = begun.evaluate("document.querySelector('#beginning .read').textContent")
    assert bare(told) == bare(sheet.extract_text())
    assert "20 minutes a day" in told
    assert "stop when a hand hurts" in told


def test_it_is_put_away_with_one_tap_and_had_again(begun: Page) -> None:
    dialog = begun.locator("#beginning")
    begun.get_by_role("button", name="Begin").click()
    expect(dialog).to_be_hidden()
    expect(begun.locator("#plan")).to_contain_text("The whole form, head to ending, in 3 choruses")
    begun.get_by_role("button", name="What to do").click()
    expect(dialog).to_be_visible()
    # space and letters are those of the dialog
    begun.keyboard.press("d")
    expect(begun.locator("#drill-sheet")).to_be_hidden()
    begun.keyboard.press("Space")
    expect(dialog).to_be_hidden()
    expect(begun.locator("#play-word")).to_have_text("Play")


def test_a_task_that_is_tapped_opens(begun: Page, lesson: Path) -> None:
    begun.locator("#beginning a").nth(1).click()
    expect(begun.locator("#beginning")).to_be_hidden()
    expect(begun.locator("#plan")).to_contain_text("with an etude in subdivisions")
    expect(begun.locator("#piece")).to_have_value("1")
    begun.goto("about:blank")
    begun.goto((lesson / "page.html").as_uri() + "#bars=5-8")
    begun.wait_for_selector("#play:not([disabled])")
    expect(begun.locator("#plan")).to_contain_text("Bars 5 to 8")  # a link leads to what it says
    expect(begun.locator("#beginning")).to_be_hidden()


@pytest.mark.parametrize("size", [(320, 568), (390, 664), (740, 360), (1280, 800), (1920, 1080)])
def test_it_is_read_at_every_size(begun: Page, size: tuple[int, int]) -> None:
    begun.set_viewport_size({"width": size[0], "height": size[1]})
    wide, button = begun.evaluate(
        """() => {
          const page = document.getElementById("beginning");
          const begin = document.getElementById("begin");
          const { bottom, height, width } = begin.getBoundingClientRect();
          return [page.scrollWidth - page.clientWidth, [bottom, height, width]];
        }"""
    )
    assert wide == 0
    assert button[0] <= size[1]
    # WCAG 2.2, 2.5.8 asks for 24 px, and 2.5.5 for 44
    assert min(button[1:]) >= 44


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing(browser: Browser, lesson: Path, scheme: str) -> None:
    context = browser.new_context(
        color_scheme="dark" if scheme == "dark" else "light", bypass_csp=True,
        viewport={"width": 390, "height": 664},
    )  # fmt: skip
    page = opened(context.new_page(), lesson / "page.html")
    page.add_script_tag(path=AXE)
    for _ in range(2):
        found = page.evaluate("axe.run().then((result) => result.violations)")
        assert [(v["id"], v["nodes"][0]["html"]) for v in found] == []
        if page.locator("#beginning").is_visible():
            page.locator("#begin").click()
    context.close()


def test_where_no_script_runs_it_is_read_too(browser: Browser, lesson: Path) -> None:
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto((lesson / "page.html").as_uri())
    expect(page.locator("noscript .read, body > .read").first).to_contain_text("20 minutes a day")
    context.close()
