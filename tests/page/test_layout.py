"""Where things are, in Chromium and in Firefox: nothing covers the chord, the neck or Play."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any, Protocol

import pytest
from playwright.sync_api import Browser, Page

from backing.chart.text.tune_file import read
from backing.page import PageMaker
from tests.page.conftest import opened
from tests.page.firefox import firefox

SIZES = (
    (320, 568), (375, 667), (390, 664), (740, 360), (667, 375), (640, 400), (820, 1180),
    (1280, 800), (1920, 1080),
)  # fmt: skip
"""Phones, upright and on their side; 1280 by 800 at 200 %; a tablet; a computer; a large screen."""
CROWDED = """
title: Crowded
key: Db

section A
| Ebmaj7#11 Abm7b5 Db13b9 Gbmaj7#11 | Ebm7b5/Bbb | Db7alt Gb13#11 | Dbmaj7#11/Ab Bbm11 |
"""
USUAL = "(practice.settings.view.size = '1', practice.asOpened(), practice.settings.view.size)"
"""As the file opens, in letters of the usual size."""
LOOK = (Path(__file__).parent / "boxes.js").read_text("utf-8")


class Shown(Protocol):
    """A page in a browser."""

    def open(self, page: Path, size: tuple[int, int]) -> None:
        """The page at a size in CSS pixels, ready to play."""

    def resize(self, width: int, height: int) -> None:
        """Another size."""

    def run(self, script: str) -> Any:
        """What an expression of the page comes to."""

    def press(self, key: str) -> None:
        """Press a key where the focus is."""


class Chromium:
    """A page in a tab of Chromium."""

    def __init__(self, tab: Page) -> None:
        self.tab = tab

    def open(self, page: Path, size: tuple[int, int]) -> None:
        self.resize(*size)
        opened(self.tab, page)

    def resize(self, width: int, height: int) -> None:
        self.tab.set_viewport_size({"width": width, "height": height})

    def run(self, script: str) -> Any:
        return self.tab.evaluate(f"() => ({script})")

    def press(self, key: str) -> None:
        self.tab.keyboard.press(key)


@pytest.fixture(scope="module")
def browsers(browser: Browser) -> Iterator[dict[str, Shown]]:
    context = browser.new_context()
    with firefox() as fox:
        found: dict[str, Shown] = {"chromium": Chromium(context.new_page()), "firefox": fox}
        yield found
    context.close()


@pytest.fixture(params=["chromium", "firefox"])
def shown(request: pytest.FixtureRequest, browsers: dict[str, Shown]) -> Shown:
    return browsers[request.param]


@pytest.fixture(scope="module")
def crowded_file(maker: PageMaker, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The page of a tune with four long chord names in a bar."""
    path = tmp_path_factory.mktemp("page") / "crowded.html"
    path.write_bytes(maker.page(read(CROWDED)))
    return path


def faults(shown: Shown, what: str = "") -> Any:
    return shown.run(f"({LOOK})({what!r})")


@pytest.mark.parametrize("size", SIZES)
def test_chord_neck_and_play_are_in_sight_and_free(
    shown: Shown, long_file: Path, size: tuple[int, int]
) -> None:
    shown.open(long_file, size)
    shown.run(USUAL)
    assert faults(shown) == []
    for act in (
        "practice.setLoop([8, 9, 10, 11])",
        "practice.movePosition(-4)",
        "practice.open('band')",
        "practice.open('drill')",
        "practice.open('view')",
        "practice.open(null)",
    ):
        shown.run(act)
        assert faults(shown) == [], act
    for size_of_text in ("1.25", "1.5"):
        shown.run(
            f"(practice.settings.view.size = '{size_of_text}', practice.screen.looks(),"
            "practice.screen.still(8))"
        )
        assert faults(shown) == [], size_of_text
    shown.run(USUAL)


@pytest.mark.parametrize("size", SIZES)
def test_every_change_of_a_crowded_tune_has_its_room(
    shown: Shown, crowded_file: Path, size: tuple[int, int]
) -> None:
    shown.open(crowded_file, size)
    tops = set()
    for bar in range(4):
        shown.run(f"(practice.cursor = {bar}, practice.step(0))")
        assert faults(shown, "chords") == [], bar
        tops.add(shown.run("document.getElementById('neck').getBoundingClientRect().top"))
    # the stage does not jump
    assert len(tops) == 1


@pytest.mark.parametrize("size", [*SIZES, (2560, 1440)])
def test_the_stand_fills_any_display(shown: Shown, long_file: Path, size: tuple[int, int]) -> None:
    shown.open(long_file, size)
    shown.run(USUAL)
    shown.run("(practice.settings.routine.trade = 4, practice.setLoop([8, 9, 10, 11, 12, 13]))")
    shown.run(
        "(document.documentElement.requestFullscreen = () => Promise.resolve(), practice.stand())"
    )
    # in one go: when the page sees that it has another size, it shows again whose turn it is
    assert shown.run(f"(practice.screen.stage.turn('drums'), ({LOOK})('stand'))") == []
    used = shown.run(
        """(() => {
          const boxes = ["now", "neck", "neck-next", "chart", "play"].map((id) =>
            document.getElementById(id).getBoundingClientRect());
          const bottom = Math.max(...boxes.map((box) => box.bottom));
          return [bottom / innerHeight, Math.min(...boxes.map((box) => box.top)) / innerHeight];
        })()"""
    )
    assert used[0] > 0.95
    assert used[1] < 0.12
    shown.run("(practice.stand(), practice.asOpened())")


def test_space_plays_and_stops_from_a_button_and_from_a_list(shown: Shown, long_file: Path) -> None:
    shown.open(long_file, (1280, 800))
    for focus in ("loop", "click", "tempo"):
        shown.run(
            f"(practice.open(null), practice.open('band'),"
            f"document.getElementById('{focus}').focus())"
        )
        shown.press(" ")
        assert shown.run("document.getElementById('play-word').textContent") == "Stop", focus
        shown.press(" ")
        assert shown.run("document.getElementById('play-word').textContent") == "Play", focus
        assert shown.run("practice.choosing") is False
