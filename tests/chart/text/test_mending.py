"""Rough charts mended: what e-mails and hasty hands do to a chart, and what is told of it."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from backing.chart.outline import chords, in_ascii
from backing.chart.pitch import Key
from backing.chart.text.mending import mend
from backing.chart.text.tune_file import read, read_file
from backing.cli import main
from backing.errors import ChordError, TuneError

TUNES = sorted((Path(__file__).parents[3] / "tunes").glob("*.tune"))
LETTER = """\
> On Tue, Bob wrote:
>> Tune for tonight - medium swing
>> composer: Bob
>> key of g moll
>> tempo 140
>>
>> A section
>> |: C min7  F7 | Bb maj7 / / . | a-7b5 - d7 - | [1] gm, | ./. :| [2] g-6 |
>> [Bridge]
>> B7 E7 e-flat maj7 [Ab7]
> best, Bob
"""


def test_a_chart_out_of_a_letter_is_understood() -> None:
    found = mend(LETTER)
    form = read(found.text, "letter")
    assert (form.by, str(form.key), form.tempo) == ("Bob", "G minor", 140)
    bars = in_ascii(" | ".join(map(chords, form.played("head"))))
    assert bars == (
        "Cmin7 F7 | Bbmaj7 | A-7b5 D7 | Gm | Gm | Cmin7 F7 | Bbmaj7 | A-7b5 D7 | G-6 | "
        "B7 | E7 | Ebmaj7 | Ab7"
    )
    assert (3, ">> composer: Bob", "by: Bob") in found.changes


@pytest.mark.parametrize("tune", TUNES, ids=lambda path: path.stem)
def test_a_sound_tune_is_left_as_it_sounds(tune: Path) -> None:
    form = read_file(tune)
    mended = read(mend(tune.read_text(encoding="utf-8")).text, str(tune), folder=str(tune.parent))
    assert [mended.played(o) for o in ("head", "solos", "out")] == [
        form.played(o) for o in ("head", "solos", "out")
    ]


@given(st.text(alphabet="ABCabgm7|%/[]():. >\n-#", max_size=120))
def test_any_text_is_mended_or_refused(text: str) -> None:
    with suppress(TuneError):
        assert read(mend(text).text).sections


def test_a_key_that_is_not_given_is_guessed_and_told() -> None:
    found = mend("| dm7 | g7 | cmaj7 |")
    assert found.changes[-1] == (0, "", "key: C major")
    assert str(read(found.text).key) == "C major"


def test_the_command_shows_each_change(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "letter.tune"
    file.write_text("key: F\n> | Gm7 c7 | F |\n")
    assert main(["check", str(file), "--mend"]) == 0
    out, err = capsys.readouterr()
    assert "| Gm7 C7 | F |" in out
    assert f"{file}:2: > | Gm7 c7 | F | -> | Gm7 C7 | F |" in err


@pytest.mark.parametrize(
    ("written", "meant"),
    [("g moll", "G minor"), ("G moll", "G minor"), ("bb dur", "Bb major"), ("g minor", "G minor")],
)
def test_hints_say_the_key_that_was_meant(written: str, meant: str) -> None:
    with pytest.raises(ChordError) as caught:
        Key.parse(written)
    assert caught.value.cure == f"Write {meant}."
