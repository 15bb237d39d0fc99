"""Manifests: what is listed, what is ours, and what is taken away."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

import pytest

from backing.errors import OutputError
from backing.lesson.manifest import FORMAT, NAME, Item, Manifest, begin, clear_folder, item

ABOUT = {"lesson": "Monday"}
ITEM = {
    "name": "1.mp3", "what": "a track", "made_by": "backing", "seconds": 1.0, "bytes": 1,
    "sha256": hashlib.sha256(b"1").hexdigest(),
}  # fmt: skip


def made(folder: Path, *names: str) -> Manifest:
    """A folder in which files of these names were made, and what the next run knows of it."""
    manifest = begin(folder, ABOUT, names)
    manifest.write()
    for name in names:
        (folder / name).write_text(name)
        manifest.add(item(folder / name, "a track", "backing track"))
    return begin(folder, ABOUT, ())


def test_an_item_says_what_is_there(tmp_path: Path) -> None:
    path = tmp_path / "1.mp3"
    path.write_bytes(b"sound")
    # NIST FIPS 180-4, as the standard library calculates it
    digest = hashlib.sha256(b"sound").hexdigest()
    assert item(path, "a track", "backing", 1.26) == Item(
        "1.mp3", "a track", "backing", 1.3, 5, digest
    )


def test_what_is_not_made_any_more_goes(tmp_path: Path) -> None:
    manifest = made(tmp_path, "1.mp3", "1-bass.mp3")
    (tmp_path / "mine.txt").write_text("mine")
    manifest.clear()
    assert sorted(path.name for path in tmp_path.iterdir()) == [NAME, "mine.txt"]
    assert json.loads((tmp_path / NAME).read_text()) == {"format": FORMAT, **ABOUT, "files": []}


def test_what_was_changed_or_is_a_link_stays(tmp_path: Path) -> None:
    manifest = made(tmp_path, "1.mp3", "2.mp3", "3.mp3", "4.mp3")
    (tmp_path / "1.mp3").write_text("mine")
    (tmp_path / "2.mp3").unlink()
    (tmp_path / "elsewhere").write_text("2.mp3")
    (tmp_path / "2.mp3").symlink_to(tmp_path / "elsewhere")
    (tmp_path / "3.mp3").unlink()
    (tmp_path / "3.mp3").mkdir()
    (tmp_path / "4.mp3").unlink()
    manifest.clear()
    left = sorted(path.name for path in tmp_path.iterdir())
    assert left == ["1.mp3", "2.mp3", "3.mp3", "elsewhere", NAME]
    assert not manifest.items


def test_nothing_outside_the_folder_is_touched(tmp_path: Path) -> None:
    folder = tmp_path / "week"
    folder.mkdir()
    outside = tmp_path / "outside.mp3"
    outside.write_text("mine")
    sub = folder / "sub"
    sub.mkdir()
    (sub / "deep.mp3").write_text("mine")
    names = ["../outside.mp3", str(outside), "sub/deep.mp3", "a\0b", "", ".", "x" * 5000]
    digest = hashlib.sha256(b"mine").hexdigest()
    files = [Item(name, "", "backing", 0.0, 4, digest) for name in names]
    Manifest(folder, ABOUT, (), {each.name: each for each in files}).write()
    begin(folder, ABOUT, ()).clear()
    clear_folder(folder, "backing")
    assert outside.exists()
    assert (sub / "deep.mp3").exists()


def test_what_is_missing_is_told_and_may_be_made(tmp_path: Path) -> None:
    manifest = begin(tmp_path, ABOUT, ["1.mp3", "2.mp3"])
    manifest.write()
    (tmp_path / "1.mp3").write_text("1")  # the work ended before it was listed
    assert json.loads((tmp_path / NAME).read_text())["missing"] == ["1.mp3", "2.mp3"]
    again = begin(tmp_path, ABOUT, ["1.mp3"])
    assert not again.complete
    again.add(item(tmp_path / "1.mp3", "a track", "backing"))
    assert again.complete
    assert "missing" not in json.loads((tmp_path / NAME).read_text())


@pytest.mark.parametrize("name", ["1.mp3", NAME])
def test_what_no_manifest_lists_is_refused(tmp_path: Path, name: str) -> None:
    (tmp_path / name).write_text("mine")
    with pytest.raises(OutputError, match="no lesson made it"):
        begin(tmp_path, ABOUT, ["1.mp3"])
    clear_folder(tmp_path, "backing")
    assert (tmp_path / name).read_text() == "mine"


@pytest.mark.parametrize(
    "text",
    [
        "", "[]", "3", "{", "null", '"files"', "{}", '{"format": 2, "files": []}',
        '{"format": 1}', '{"format": 1, "files": 3}', '{"format": 1, "files": [3]}',
        '{"format": 1, "files": [{}]}', '{"format": 1, "files": [{"name": []}]}',
        '{"format": 1, "files": [], "missing": 3}', "[" * 100_000,
        json.dumps({"format": 1, "files": [ITEM | {"sha256": ["x"]}]}),
        json.dumps({"format": 1, "files": [ITEM | {"more": "x"}]}),
    ],
)  # fmt: skip
def test_a_manifest_that_makes_no_sense_is_not_ours(tmp_path: Path, text: str) -> None:
    (tmp_path / NAME).write_text(text)
    with pytest.raises(OutputError, match="no lesson made it"):
        begin(tmp_path, ABOUT, [])
    clear_folder(tmp_path, "backing")
    assert (tmp_path / NAME).read_text() == text


def test_a_manifest_of_an_older_version_is_ours(tmp_path: Path) -> None:
    """Before files had a sound of their own."""
    (tmp_path / "1.mp3").write_text("1")
    data = {"format": 1, "soundfont": "TimGM6mb", "files": [ITEM]}
    (tmp_path / NAME).write_text(json.dumps(data))
    clear_folder(tmp_path, "backing lesson another.toml")
    assert len([*tmp_path.iterdir()]) == 2
    clear_folder(tmp_path, "backing")
    assert not [*tmp_path.iterdir()]


def test_a_sound_that_all_have_is_that_of_the_folder(tmp_path: Path) -> None:
    manifest = begin(tmp_path, ABOUT, [])
    for name, sound in (("1", ("One", "MIT")), ("2", ("", "")), ("3", ("One", "MIT"))):
        (tmp_path / name).write_text(name)
        manifest.add(item(tmp_path / name, "", "", sound=sound))
    data = json.loads((tmp_path / NAME).read_text())
    assert (data["soundfont"], data["soundfont_license"]) == ("One", "MIT")
    assert "soundfont" not in data["files"][1]
    manifest.add(item(tmp_path / "2", "", "", sound=("Other", "")))
    assert "soundfont" not in json.loads((tmp_path / NAME).read_text())
