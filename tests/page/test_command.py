"""``backing page``: what it writes, what it refuses and in which words."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import pytest

from backing.cli import main
from backing.mixdown import bank, probing
from backing.mixdown.probing import Rendered, StruckKey
from backing.mixdown.soundfont import SoundFont
from backing.mixdown.synth import Synth
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
        (["-o", "study.pdf"], "study.pdf is no name for a page."),
        (["-o", "nowhere/study.html"], "The folder nowhere does not exist."),
        (["--share"], "Nothing is served without --watch."),
        (["--watch", "-o", "study.html"], "A watched page is not written to a file."),
        (["second.tune", "--watch"], "Only one tune can be watched."),
        (["--comp", "pianno"], 'There is no comping instrument called "pianno".'),
        (["--tempo", "9999"], "A tempo of 9999 cannot be played."),
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
