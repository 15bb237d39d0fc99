"""A browser for the page: Debian's Chromium, driven by Playwright."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, Playwright, expect, sync_playwright

from backing.chart.form import Form
from backing.chart.text.tune_file import read, read_file
from backing.mixdown.soundfont import SoundFont, find_soundfonts
from backing.page import PageMaker

ROOT = Path(__file__).parents[2]
FLAGS = (
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
    "--autoplay-policy=user-gesture-required",
)  # fmt: skip

PATIENCE_MS = 120_000
"""How long a busy machine may take for anything; nothing is judged by its time."""
expect.set_options(timeout=PATIENCE_MS)

BLUES = """
title: Two Doors Down
key: F
tempo: 168

section A
| F7 | Bb7 | F7 | Cm7 F7 |
| Bb7 | Bdim7 | F7 | Am7b5 D7b9 |
| Gm7 | C7 | F7 D7 | Gm7 C7 |
"""
"""A blues with chords of one and of two a bar."""


@pytest.fixture(scope="session")
def font() -> SoundFont:
    """The SoundFont that is always there, so that figures are the same on every machine."""
    return next(font for font in find_soundfonts() if font.name == "TimGM6mb")


@pytest.fixture(scope="session")
def maker(font: SoundFont) -> PageMaker:
    return PageMaker(font)


@pytest.fixture(scope="session")
def blues() -> Form:
    return read(BLUES)


@pytest.fixture(scope="session")
def blues_file(maker: PageMaker, blues: Form, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The page of the blues on disk."""
    path = tmp_path_factory.mktemp("page") / "blues.html"
    path.write_bytes(maker.page(blues))
    return path


@pytest.fixture(scope="session")
def long_file(maker: PageMaker, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The page of a tune of 32 bars on disk."""
    path = tmp_path_factory.mktemp("page") / "long.html"
    path.write_bytes(maker.page(read_file(ROOT / "tunes" / "corner-booth.tune")))
    return path


@pytest.fixture(scope="session")
def playwright() -> Iterator[Playwright]:
    """The one of a process: a second would not start beside it."""
    with sync_playwright() as started:
        yield started


@pytest.fixture(scope="session")
def browser(playwright: Playwright) -> Iterator[Browser]:
    chromium = playwright.chromium.launch(executable_path="/usr/bin/chromium", args=FLAGS)
    yield chromium
    chromium.close()


@pytest.fixture
def tab(browser: Browser) -> Iterator[Page]:
    """An empty tab with a storage of its own; a script that fails in it fails the test."""
    context = browser.new_context(viewport={"width": 1280, "height": 800})
    context.set_default_timeout(PATIENCE_MS)
    page = context.new_page()
    failures: list[str] = []
    page.on("pageerror", lambda error: failures.append(str(error)))
    page.on(
        "console",
        lambda message: failures.append(message.text) if message.type == "error" else None,
    )
    yield page
    context.close()
    assert failures == []


def opened(tab: Page, path: Path) -> Page:
    """The page in a tab, ready to play."""
    tab.goto(path.as_uri())
    tab.wait_for_selector("#play:not([disabled])")
    return tab
