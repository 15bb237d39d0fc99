"""Files are there whole or not at all, and every refusal of the system is told in words."""

from __future__ import annotations

import errno
import os
import shutil
import socket
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from backing.errors import OutputError
from backing.saving import (
    LONGEST_NAME,
    check_writable,
    is_folder,
    output_error,
    owner,
    refuse_inputs,
    shortened_name,
    sweep,
    temporary_path,
    write_file,
)

NOBODY = 65534
"""The user and group without rights (Linux Standard Base 5.0, common practice elsewhere)."""


@pytest.fixture
def refusing_folder() -> Iterator[Path]:
    """A folder that may not write to, by root neither: for the test it becomes nobody."""
    folder = Path(tempfile.mkdtemp(prefix="backing-test-", dir="/tmp"))
    (folder / "inside").mkdir()
    folder.chmod(0o555)
    root = os.geteuid() == 0
    if root:
        os.seteuid(NOBODY)
    yield folder
    if root:
        os.seteuid(0)
    folder.chmod(0o755)
    shutil.rmtree(folder)


def test_a_file_is_written_and_nothing_is_left_beside_it(tmp_path: Path) -> None:
    write_file(tmp_path / "track.mid", b"new")
    assert (tmp_path / "track.mid").read_bytes() == b"new"
    assert [path.name for path in tmp_path.iterdir()] == ["track.mid"]


def test_a_link_goes_on_pointing_at_the_file(tmp_path: Path) -> None:
    real, link = tmp_path / "real.mid", tmp_path / "link.mid"
    real.write_bytes(b"old")
    link.symlink_to(real)
    write_file(link, b"new")
    assert link.is_symlink()
    assert real.read_bytes() == b"new"


def test_a_folder_that_is_not_there_is_named(tmp_path: Path) -> None:
    path = tmp_path / "none" / "track.mid"
    said = output_error(FileNotFoundError(errno.ENOENT, "No such file or directory"), path)
    assert said.cause == f"The folder {path.parent} does not exist."


def test_a_link_that_leads_back_to_itself_is_refused(tmp_path: Path) -> None:
    link = tmp_path / "round.mid"
    link.symlink_to(link)
    with pytest.raises(OutputError):
        write_file(link, b"new")
    assert [path.name for path in tmp_path.iterdir()] == ["round.mid"]


@pytest.mark.parametrize("way", ["itself", "each other", "a folder"])
def test_links_in_a_circle_are_told_from_a_file_to_come(tmp_path: Path, way: str) -> None:
    """On every Python: from 3.13 on Path.resolve says nothing of such a link."""
    path, other = tmp_path / "round.wav", tmp_path / "other.wav"
    if way == "itself":
        path.symlink_to(path.name)
    elif way == "each other":
        path.symlink_to(other)
        other.symlink_to(path)
    else:
        (tmp_path / "folder").symlink_to("folder")
        path = tmp_path / "folder" / "round.wav"
    before = sorted(tmp_path.iterdir())
    for check in (check_writable, lambda place: write_file(place, b"new")):
        with pytest.raises(OutputError, match="leads back to itself") as caught:
            check(path)
        assert str(path) in caught.value.cause
    assert sorted(tmp_path.iterdir()) == before


def test_a_link_to_a_file_that_is_not_there_yet_is_followed(tmp_path: Path) -> None:
    link = tmp_path / "link.mid"
    link.symlink_to(tmp_path / "real.mid")
    check_writable(link)
    write_file(link, b"new")
    assert link.is_symlink()
    assert (tmp_path / "real.mid").read_bytes() == b"new"


def test_a_disk_that_fills_up_leaves_the_old_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "track.mid"
    path.write_bytes(b"old")

    def half(growing: Path, data: bytes) -> None:
        with growing.open("wb") as file:
            file.write(data[: len(data) // 2])
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(Path, "write_bytes", half)
    with pytest.raises(OutputError, match="no space left"):
        write_file(path, b"new and longer")
    assert path.read_bytes() == b"old"
    assert list(tmp_path.iterdir()) == [path]


def test_a_folder_that_may_not_be_written_to(refusing_folder: Path) -> None:
    with pytest.raises(OutputError, match="may not write to"):
        check_writable(refusing_folder / "track.wav")


def test_a_folder_that_may_not_be_looked_into(refusing_folder: Path) -> None:
    """Asking whether a file is there is refused, too: that is no traceback either."""
    root = os.geteuid() == NOBODY
    if root:
        os.seteuid(0)
    refusing_folder.chmod(0o000)
    if root:
        os.seteuid(NOBODY)
    with pytest.raises(OutputError, match="may not write to"):
        check_writable(refusing_folder / "inside" / "track.wav")


def test_a_protected_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Root may write to any file: that this one is protected is put in the system's mouth."""
    path = tmp_path / "track.wav"
    path.write_bytes(b"old")
    monkeypatch.setattr(os, "access", lambda place, _: place != path)
    with pytest.raises(OutputError, match="write-protected"):
        check_writable(path)
    assert path.read_bytes() == b"old"


@pytest.mark.parametrize(
    ("number", "words"),
    [
        (errno.ENOSPC, "no space left"),
        (errno.EDQUOT, "no space left"),
        (errno.EACCES, "may not write to"),
        (errno.EROFS, "may not write to"),
        (errno.EFBIG, "larger than this system allows"),
        (errno.ENAMETOOLONG, "too long"),
        (errno.EIO, "cannot be written"),
    ],
)
def test_every_refusal_has_a_cause_and_a_cure(number: int, words: str) -> None:
    error = output_error(OSError(number, os.strerror(number)), Path("there/track.wav"))
    assert words in error.cause
    assert error.cure.endswith(".")


def test_a_name_that_is_too_long(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="too long"):
        check_writable(tmp_path / ("x" * 300 + ".wav"))


def test_the_passing_name_keeps_the_suffix_and_is_hidden() -> None:
    name = temporary_path(Path("there/track.flac"))
    assert name.parent == Path("there")
    assert name.name.startswith(".track.")
    assert name.suffix == ".flac"


def test_a_name_too_long_for_the_system_is_no_folder(tmp_path: Path) -> None:
    assert is_folder(tmp_path)
    assert not is_folder(tmp_path / ("é" * 300))
    with pytest.raises(OutputError):
        check_writable(tmp_path / ("é" * 300 + ".mid"))


def test_a_name_that_just_fits_can_be_written(tmp_path: Path) -> None:
    assert os.pathconf(tmp_path, "PC_NAME_MAX") == LONGEST_NAME  # POSIX.1: the system's own word
    for name in ("x" * 251 + ".mid", "é" * 125 + "x.mid"):
        path = tmp_path / name
        write_file(path, b"new")
        assert path.read_bytes() == b"new"
        path.unlink()
        assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("letter", ["x", "é", "e\u0301", "♭", "漢", "🎷", "\udce9"])
@pytest.mark.parametrize("room", [0, 9])
def test_a_long_stem_gives_way(tmp_path: Path, letter: str, room: int) -> None:
    stem = letter * 300
    name = shortened_name(stem, " 01 80 bpm.wav", room)
    size = len(os.fsencode(name))
    assert LONGEST_NAME - room - 2 * len(os.fsencode(letter)) < size <= LONGEST_NAME - room
    kept, _, mark = name.removesuffix(" 01 80 bpm.wav").partition("~")
    assert len(mark) == 8
    assert kept == letter * (len(kept) // len(letter))
    (tmp_path / name).touch()
    others = {shortened_name(stem[:-1] + end, ".wav") for end in "abc"}
    assert len(others) == 3


def test_a_stem_that_fits_stays_as_it_is() -> None:
    assert shortened_name("low tide", ".wav") == "low tide.wav"
    assert shortened_name("x" * 251, ".wav") == "x" * 251 + ".wav"
    assert "~" in shortened_name("x" * 252, ".wav")
    assert "~" in shortened_name("x" * 251, ".wav", 1)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="there are no pipes of that kind")
def test_what_is_no_file_is_refused_and_stays(tmp_path: Path) -> None:
    """A device, a pipe, a socket, and links to them: the name is never given to a file."""
    os.mkfifo(tmp_path / "pipe.wav")
    (tmp_path / "null.wav").symlink_to(os.devnull)
    (tmp_path / "link.wav").symlink_to(tmp_path / "pipe.wav")
    with socket.socket(socket.AF_UNIX) as server:
        server.bind(str(tmp_path / "socket.wav"))
        for name in ("pipe.wav", "null.wav", "link.wav", "socket.wav"):
            for check in (check_writable, lambda place: write_file(place, b"new")):
                with pytest.raises(OutputError, match="is a device or a pipe"):
                    check(tmp_path / name)
    assert Path(os.devnull).is_char_device()
    assert (tmp_path / "pipe.wav").is_fifo()


def test_a_file_that_is_read_is_not_replaced(tmp_path: Path) -> None:
    tune, link, twin = (tmp_path / name for name in ("a.tune", "link.mid", "twin.mid"))
    tune.write_text("key: C")
    link.symlink_to(tune)
    twin.hardlink_to(tune)
    for output in (tune, link, twin, tmp_path / "." / "a.tune"):
        with pytest.raises(OutputError, match="is what is read"):
            refuse_inputs(output, [tmp_path / "nowhere", tune])
    refuse_inputs(tmp_path / "b.mid", [tune])
    refuse_inputs(tmp_path / "x\0", [tune])


def test_what_dead_processes_left_is_swept(tmp_path: Path) -> None:
    """And nothing else: neither what is still made, nor what another machine is making."""
    with subprocess.Popen([sys.executable, "-c", ""]) as process:
        process.wait()
    dead = owner().replace(f"-{os.getpid()}", f"-{process.pid}")
    folder = tmp_path / f".backing-{dead}-abc_1"
    (folder / "inside").mkdir(parents=True)
    (tmp_path / f".a.{dead}.part.wav").write_bytes(b"half")
    kept = {
        ".a.part.wav", f".b.{owner()}.part.wav", f".backing-{owner()}-abc", "a.wav",
        f".a.{dead.replace(dead[:8], '00000000')}.part.wav", f"{dead}.part.wav", ".hidden",
    }  # fmt: skip
    for name in kept:
        (tmp_path / name).write_bytes(b"")
    sweep.cache_clear()
    check_writable(tmp_path / "a.wav")
    assert {path.name for path in tmp_path.iterdir()} == kept


def test_the_suffix_is_that_of_the_name_that_was_given(tmp_path: Path) -> None:
    assert temporary_path(tmp_path / "data.bin", ".wav").suffix == ".wav"
    assert temporary_path(tmp_path / "data.bin", "").name.endswith(".part")
