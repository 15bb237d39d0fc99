"""One rule for all readers: whatever a file holds, it is answered with one sentence, at once."""

from __future__ import annotations

import io
import random
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest

from backing import reading
from backing.chart.musicxml import read_file as read_musicxml
from backing.chart.text.tune_file import read_file as read_tune
from backing.cli.assignment import VOCABULARY
from backing.combo.feel_check import feel_faults
from backing.combo.feel_file import load_feel
from backing.errors import FeelError, UserError
from backing.lesson.lesson_file import read_file
from backing.mixdown.cache import Cache
from backing.mixdown.soundfont import read_soundfont
from backing.reading import FEEL_BYTES, FEELS_ALIKE, depth, guarded, read_bytes
from backing.take import log
from backing.take.hearing import hear
from tests.fuzz.harness import check_sentence, watched


def fetch(path: Path) -> None:
    """What lies in the cache is never a mistake of the user's: it is a miss."""
    entry = path.parent / "kept" / "key"
    entry.mkdir(parents=True)
    if path.exists() and not path.is_dir():
        (entry / "sums.json").write_bytes(path.read_bytes())
    assert Cache(entry.parent).fetch("key", path.parent / "x.wav") is None
    assert not entry.exists()
    raise UserError("A miss.")


def lesson(path: Path) -> None:
    """Whatever is read of it has mistakes, told at once."""
    read_file(path, VOCABULARY).source.finish()
    raise UserError("It is a lesson.")


READERS: dict[str, Callable[[Path], object]] = {
    ".tune": read_tune,
    ".toml": lambda path: load_feel(str(path)),
    ".lesson.toml": lesson,
    ".musicxml": read_musicxml,
    ".mxl": read_musicxml,
    ".sf2": read_soundfont,
    ".json": fetch,
    ".jsonl": lambda path: log.plot(log.read(path)),
    ".mid": hear,
}


def packed(*, way: int = zipfile.ZIP_DEFLATED, flags: int = 0, name: str = "x.xml") -> bytes:
    """A compressed MusicXML file that can be unpacked or not."""
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w", way) as archive:
        archive.writestr("META-INF/container.xml", f'<c><rootfile full-path="{name}"/></c>')
        archive.writestr("x.xml", "<score-partwise/>")
    data = bytearray(file.getvalue())
    for at in range(len(data)):
        if data[at : at + 4] == b"PK\1\2":
            data[at + 8] |= flags
        if data[at : at + 4] == b"PK\3\4":
            data[at + 6] |= flags
    return bytes(data)


CONTENTS = {
    "nothing": b"",
    "zeros": bytes(100_000),
    "noise": random.Random(1).randbytes(50_000),
    "a mark of byte order": b"\xef\xbb\xbf",
    "text of another encoding": "key: Ä".encode("utf-16"),
    "lists in lists": b"a = " + b"[" * 40_000,
    "tags in tags": b"<score-partwise>" + b"<a>" * 40_000,
    "a document in an unknown encoding": b'<?xml version="1.0" encoding="klingon"?><a/>',
    "a document of entities": b"<!DOCTYPE a [<!ENTITY b 'c'><!ENTITY d '&b;&b;'>]><a>&d;</a>",
    "a long number": b"a = " + b"9" * 5000,
    "a long key": b"a" + b".a" * 20_000 + b" = 1",
    "a long line": b"|" * 40_000,
    "a list of files that is none": b"{}",
    "one that leads elsewhere": b'{"track.wav": "", "../../x": ""}',
    "an encrypted archive": packed(flags=1),
    "an archive without its score": packed(name="nowhere.xml"),
    "an archive cut short": packed()[:-30],
    "the head of a SoundFont": b"RIFF\xff\xff\xff\xffsfbkLIST\xff\xff\xff\xffINFO",
    "a SoundFont of nothing": b"RIFF\x04\0\0\0sfbk",
}


@pytest.mark.parametrize("content", CONTENTS, ids=str)
@pytest.mark.parametrize("suffix", READERS)
def test_any_content_is_answered_with_a_sentence(tmp_path: Path, suffix: str, content: str) -> None:
    path = tmp_path / f"x{suffix}"
    path.write_bytes(CONTENTS[content])
    with watched(), pytest.raises(UserError) as caught:
        READERS[suffix](path)
    check_sentence(caught.value)


@pytest.mark.parametrize("suffix", READERS)
def test_what_is_no_file_is_answered_with_a_sentence(tmp_path: Path, suffix: str) -> None:
    (tmp_path / f"folder{suffix}").mkdir()
    (tmp_path / f"circle{suffix}").symlink_to(tmp_path / f"circle{suffix}")
    for name in ("folder", "circle", "nowhere", "x" * 300, "\udcff", "a\0b"):
        if suffix == ".json" and name != "nowhere":
            continue
        with watched(), pytest.raises(UserError) as caught:
            READERS[suffix](tmp_path / f"{name}{suffix}")
        check_sentence(caught.value)


def test_a_file_beyond_the_limit_is_not_read_whole(tmp_path: Path) -> None:
    (tmp_path / "x").write_bytes(b"1234")
    assert read_bytes(tmp_path / "x", 4, "a tune") == b"1234"
    with pytest.raises(FeelError, match="too long for a feel"):
        read_bytes(tmp_path / "x", 3, "a feel", FeelError)
    with pytest.raises(UserError, match="too long for a tune"):
        read_bytes(Path("/dev/zero"), 1000, "a tune")


def test_exceptions_of_libraries_become_sentences_and_ours_stay() -> None:
    said = r"^It fails \(KeyError\)\. Do this\.$"
    with (
        pytest.raises(FeelError, match=said) as caught,
        guarded("It fails", "Do this.", FeelError),
    ):
        raise KeyError("x")
    assert isinstance(caught.value.__cause__, KeyError)
    with pytest.raises(UserError, match="ours"), guarded("It fails", ""):
        raise UserError("ours")
    with pytest.raises(MemoryError), guarded("It fails", ""):
        raise MemoryError


def test_feels_that_are_like_one_another_without_end(tmp_path: Path) -> None:
    head = 'name = "x"\nsentence = "."\n'
    for number in range(400):
        (tmp_path / f"{number}.toml").write_text(f'{head}like = "{number + 1}.toml"\n')
    (tmp_path / "400.toml").write_text(f'{head}like = "swing"\n')
    with pytest.raises(FeelError, match=f"more than {FEELS_ALIKE} feels"):
        load_feel(str(tmp_path / "0.toml"))
    assert load_feel(str(tmp_path / "390.toml")).meters


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ('like = "a\\u0000.toml"', "like is"),
        ('like = "swing"\n[comp]\nlike = "swing"\nvelocity = [nan, nan]', "velocity is"),
        ('like = "swing"\n[comp]\nlike = "swing"\nvelocity = [1e300, inf]', "velocity is"),
        (f'like = "swing"\n[comp]\nlike = "swing"\nhold = {"9" * 900}', "hold is"),
        (f'like = "swing"\n[comp]\nlike = "swing"\nhold = {"9" * 5000}', "This line is longer"),
        ('like = "swing"\n[bass]\ncells = [{play = "' + "9" * 900 + '"}]', "cells.play has"),
    ],
)
def test_numbers_and_names_that_no_feel_has(tmp_path: Path, line: str, said: str) -> None:
    path = tmp_path / "x.toml"
    path.write_text(f'name = "x"\nsentence = "."\n{line}\n')
    assert path.stat().st_size < FEEL_BYTES
    (fault,) = feel_faults(str(path))
    assert said in str(fault)
    assert len(str(fault)) < 1000


def test_how_deep_lists_lie_is_counted_to_a_limit() -> None:
    assert [depth(value, 9) for value in (1, [], [[]], {"a": [1, {"b": 1}]})] == [0, 1, 2, 3]
    deep: list[object] = []
    for _ in range(50_000):
        deep = [deep]
    assert depth(deep, 9) == 10


def test_all_limits_stand_in_one_place() -> None:
    """A number that bounds what is read is imported from there."""
    package = Path(reading.__file__).parent
    for module in ("chart/text", "chart/musicxml", "combo"):
        for file in (package / module).glob("*.py"):
            assert "MOST_BYTES =" not in file.read_text(), file
