"""``backing page``: what it writes, what it refuses and in which words."""

from __future__ import annotations

import json
import re
import shutil
import threading
from pathlib import Path
from typing import Any
from urllib.request import urlopen

import pytest
import segno

from backing.cli import main
from backing.mixdown import bank, probing
from backing.mixdown.probing import Rendered, StruckKey
from backing.mixdown.soundfont import SoundFont
from backing.mixdown.synth import Synth
from backing.page.watch import BenchServer
from tests.page.conftest import ROOT

STUDY = ROOT / "tunes" / "stairwell-study.tune"


@pytest.fixture
def tune(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    shutil.copy(STUDY, tmp_path / "study.tune")
    monkeypatch.chdir(tmp_path)
    return Path("study.tune")


def test_a_page_is_written_where_it_is_asked_for(
    tune: Path, font: SoundFont, capsys: pytest.CaptureFixture[str]
) -> None:
    words = ["--soundfont", str(font.path), "--key", "Bb", "--tempo", "90"]
    assert main(["page", str(tune), *words]) == 0
    page = Path("study.html").read_text("utf-8")
    assert page.startswith("<!doctype html>")
    assert '"tempo":90.0' in page
    said = capsys.readouterr().err
    assert "study.html" in said
    assert "GPL-2" in said
    assert "prefer a SoundFont under MIT" in said


def test_every_note_is_rendered_once(
    tune: Path, font: SoundFont, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[int] = []
    render = probing.rendered

    def counted(synth: Synth, group: dict[StruckKey, int], *more: Any) -> Rendered:
        asked.append(len(group))
        return render(synth, group, *more)

    monkeypatch.setattr(bank, "rendered", counted)
    assert main(["page", str(tune), "--soundfont", str(font.path)]) == 0
    once = Path("study.html").read_bytes()
    groups = len(asked)
    assert main(["page", str(tune), "--soundfont", str(font.path)]) == 0
    assert Path("study.html").read_bytes() == once
    assert len(asked) == 2 * groups


@pytest.mark.parametrize(
    ("words", "cause"),
    [
        (["-o", "study.pdf"], "study.pdf isn't a name for a page."),
        (["-o", "nowhere/study.html"], "The folder nowhere does not exist."),
        (["--share"], "--share is now in backing play: write backing play TUNE --share."),
        (["--watch"], "--watch is now in backing play: write backing play TUNE."),
        (["--key", "C F"], '"C F" is more than one key.'),
        (["--comp", "pianno"], '"pianno" isn\'t a comping instrument.'),
        (["--tempo", "9999"], "The band cannot play at 9999 bpm."),
        (["--feel", "swign"], 'There is no feel called "swign".'),
        (["--soundfont", "none.sf2"], "none.sf2 does not exist."),
    ],
)
def test_a_mistake_is_said_in_a_sentence(
    tune: Path, words: list[str], cause: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["page", str(tune), *words]) == 2
    said = capsys.readouterr().err
    assert cause in said
    assert "Traceback" not in said
    assert not Path("study.html").exists()


@pytest.mark.parametrize("more", [[], ["--no-browser"], ["--quiet"]])
def test_play_serves_the_page_and_opens_it(
    tune: Path, font: SoundFont, monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str], more: list[str],
) -> None:  # fmt: skip
    opened: list[str] = []
    pages: list[bytes] = []
    monkeypatch.setattr("webbrowser.open", opened.append)

    def serve_once(server: BenchServer) -> None:
        def visit() -> None:
            with urlopen(server.address, timeout=30) as answer:
                pages.append(answer.read())

        visitor = threading.Thread(target=visit)
        visitor.start()
        server.handle_request()
        visitor.join()

    monkeypatch.setattr(BenchServer, "serve_forever", serve_once)
    words = ["--soundfont", str(font.path), "--tempo", "90", "--comp", "guitar"]
    assert main(["play", str(tune), *words, *more]) == 0
    assert b'"tempo":90.0' in pages[0]
    assert b'"watched":true' in pages[0]
    assert len(opened) == ("--no-browser" not in more)
    said = capsys.readouterr().err
    assert said == (
        "" if "--quiet" in more else f"{tune} plays at {said.split()[3]} (Ctrl-C ends it)\n"
    )


def test_a_page_for_a_saxophone_is_written_in_its_key(tune: Path, font: SoundFont) -> None:
    assert page_of(tune, font)["part"] == "C"
    page = page_of(tune, font, "--part", "bb")
    assert page["part"] == "Bb"
    assert next(key for key in page["keys"] if key["semitones"] == 0) in page["keys"]
    assert page_of(tune, font, "--part", "alto")["part"] == "Eb"  # the words of a sheet
    assert page_of(tune, font, "--part", "bass")["part"] == "C"
    assert main(["page", str(tune), "--part", "kazoo"]) == 2


def test_a_shared_page_says_who_can_open_it_and_is_found_with_a_camera(
    tune: Path, font: SoundFont, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    asked: list[str] = []

    def make(address: str, **options: Any) -> segno.QRCode:
        asked.append(address)
        return made(address, **options)

    made = segno.make
    monkeypatch.setattr(segno, "make", make)
    monkeypatch.setattr(BenchServer, "serve_forever", lambda _: None)
    words = ["--soundfont", str(font.path), "--share", "--no-browser"]
    assert main(["play", str(tune), *words]) == 0
    said = capsys.readouterr().err
    assert "Everybody on this network can open it while it runs:" in said
    (address,) = asked
    assert f"plays at {address} (Ctrl-C" in said
    # ISO/IEC 18004: a code has 17 modules and four for each version on a side; two rows a line
    side = made(address, error="l").symbol_size(border=2)[1]
    drawn = [line for line in said.splitlines() if "▄" in line or "▀" in line or "█" in line]
    assert len(drawn) in (side // 2, side // 2 + 1)


def test_ctrl_c_ends_play_with_a_word(
    tune: Path, font: SoundFont, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def struck(_: BenchServer) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(BenchServer, "serve_forever", struck)
    words = ["--soundfont", str(font.path), "--no-browser", "--quiet"]
    assert main(["play", str(tune), *words]) == 130
    assert capsys.readouterr().err == "\nbacking: stopped.\n"


def page_of(tune: Path, font: SoundFont, *words: str) -> dict[str, Any]:
    """The data of a page."""
    assert main(["page", str(tune), "--soundfont", str(font.path), *words]) == 0
    page = Path("study.html").read_text("utf-8")
    data = re.search(r'id="data"[^>]*>(.*?)</script>', page)
    assert data is not None
    found: dict[str, Any] = json.loads(data[1])
    return found


def test_a_page_opens_with_the_line_and_the_neck_it_is_asked_for(
    tune: Path, font: SoundFont
) -> None:
    usual = page_of(tune, font)
    assert usual["heard"] == ["bass", "comp", "drums"]
    words = ("--line", "guide both and off-beats position 7", "--neck", "drop-d left-handed")
    page = page_of(tune, font, *words, "--seed", "2")
    assert page["heard"] == ["bass", "comp", "drums", "third", "seventh", "etude"]
    neck = page["neck"]
    assert neck["positions"][neck["best"]] == 7
    assert neck["strings"][-1] == usual["neck"]["strings"][-1] - 2
    assert neck["left_handed"]
    assert not usual["neck"]["left_handed"]
    assert page["line"]["opens"] == "off-beats"
    assert page["line"]["besides"] == "etude position 7"
    assert page["recipe"] == (
        f"backing page {tune} --seed 2 --line 'guide both and off-beats position 7' "
        f"--neck 'drop-d left-handed' --soundfont {font.path}"
    )


def test_play_says_at_once_that_there_is_no_such_tune(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["play", "nosuch.tune", "--no-browser"]) == 2
    assert "There is no file nosuch.tune." in capsys.readouterr().err
