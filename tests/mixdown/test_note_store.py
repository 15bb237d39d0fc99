"""Notes kept on disk: the same bits, nothing rendered twice, and no harm from harm."""

from __future__ import annotations

import multiprocessing
import os
import sys
import zlib
from pathlib import Path

import numpy as np
import pytest

from backing.mixdown import bank as module
from backing.mixdown import note_store
from backing.mixdown.bank import Bank
from backing.mixdown.note_store import NoteStore, clear_notes, kept_notes, user_store
from backing.mixdown.tone import Tone
from tests.mixdown.band import built_in_soundfont

HOLDS = {
    Tone(0, 0, 60, 72): 20_000,
    Tone(0, 0, 60, 96): 8_000,
    Tone(0, 26, 52, 88): 30_000,  # a guitar: its velocities differ
    Tone(0, 26, 52, 48): 10_000,
    Tone(128, 0, 51, 80): 0,
}


@pytest.fixture
def store(tmp_path: Path) -> NoteStore:
    return NoteStore(tmp_path / "font")


def filled(store: NoteStore | None, holds: dict[Tone, int] = HOLDS) -> Bank:
    bank = Bank(built_in_soundfont(), workers=1, store=store)
    bank.prepare(holds)
    return bank


def assert_same(one: Bank, other: Bank, holds: dict[Tone, int] = HOLDS) -> None:
    for tone, hold in holds.items():
        a, b = one.note(tone, hold), other.note(tone, hold)
        assert (a.gain, a.release, a.complete) == (b.gain, b.release, b.complete)
        shorter = min(len(a.samples), len(b.samples))
        assert np.array_equal(a.samples[:shorter], b.samples[:shorter])
        assert (a.colour is None) == (b.colour is None)
        if a.colour is not None and b.colour is not None:
            assert (a.colour.holds, a.colour.knots) == (b.colour.holds, b.colour.knots)
            assert np.array_equal(a.colour.taps, b.colour.taps)


def no_synth(*_: object) -> None:
    raise AssertionError("nothing was to be rendered")


def test_what_is_kept_is_the_same_bits_and_is_not_rendered_again(store, monkeypatch):
    first = filled(store)
    assert len(list(store.folder.iterdir())) == 3  # a file for each key of a preset
    monkeypatch.setattr(module, "Synth", no_synth)
    assert_same(first, filled(store))
    monkeypatch.undo()
    assert_same(first, filled(None))


def test_what_is_missing_or_too_short_is_added(store, monkeypatch):
    filled(store)
    more = {Tone(0, 0, 60, 96): 60_000, Tone(0, 0, 60, 40): 9_000, Tone(0, 0, 61, 96): 9_000}
    second = filled(store, more)
    assert_same(second, filled(None, more), more)
    monkeypatch.setattr(module, "Synth", no_synth)
    everything = HOLDS | more
    third = filled(store, everything)
    monkeypatch.undo()
    assert_same(third, filled(None, everything), everything)


def checked(data: bytes) -> bytes:
    """``data`` with its check sum before it."""
    return b"%08x\n" % zlib.crc32(data) + data


@pytest.mark.parametrize("harm", ["empty", "short", "bit", "number", "check", "words", "folder"])
def test_a_harmed_file_is_made_anew(store, harm):
    first = filled(store)
    for path in list(store.folder.iterdir()):
        data = bytearray(path.read_bytes())
        head = data.index(b"{")
        if harm == "bit":
            data[-1000] ^= 1
        elif harm == "number":  # a digit of a gain or a slope: as good JSON as before
            at = next(n for n in range(head, len(data)) if chr(data[n]) in "2345678")
            data[at] += 1
        elif harm == "check":
            data[3] = ord("?")
        elif harm == "words":
            data[:] = checked(b'{"laws": [[1, 2]], "samples": 3}\n')
        path.unlink()
        if harm == "folder":
            path.mkdir()
        else:
            path.write_bytes({"empty": b"", "short": data[: head + 5000]}.get(harm, bytes(data)))
    assert_same(first, filled(store))
    if harm != "folder":
        assert_same(first, filled(store))


def test_a_store_that_cannot_be_written_stops_nothing(tmp_path):
    (tmp_path / "file").write_text("in the way")
    assert_same(filled(NoteStore(tmp_path / "file" / "font")), filled(None))


def test_a_user_has_a_store_for_each_soundfont_and_rate(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    monkeypatch.setattr("sys.platform", "linux")
    font = built_in_soundfont()
    assert user_store(font, 44100).folder != user_store(font, 48000).folder
    assert user_store(font, 44100) == user_store(font, 44100)
    filled(user_store(font, 44100))
    count, size = kept_notes()
    assert count == 1
    assert size > 100_000
    clear_notes()
    assert kept_notes() == (0, 0)


def test_other_states_of_the_program_and_the_longest_unused_go(tmp_path, monkeypatch):
    def store(name: str, day: int) -> NoteStore:
        made = NoteStore(tmp_path / name)
        filled(made)
        os.utime(made.folder, (day * 86400, day * 86400))
        return made

    old, other, newer = store("aaaa-1", 1), store("bbbb-1", 2), store("cccc-1", 3)
    mine = store("aaaa-2", 4)
    mine.used()
    assert not old.folder.exists()
    assert other.folder.exists()
    size = sum(path.stat().st_size for path in mine.folder.iterdir())
    monkeypatch.setattr(note_store, "MOST_BYTES", 2 * size)
    mine.used()
    assert [each.folder.exists() for each in (other, newer, mine)] == [False, True, True]


def test_one_soundfont_alone_keeps_to_the_limit_too(store, monkeypatch):
    filled(store)
    paths = sorted(store.folder.iterdir())
    for day, path in enumerate(paths):
        os.utime(path, (day * 86400, day * 86400))
    sizes = [path.stat().st_size for path in paths]
    monkeypatch.setattr(note_store, "MOST_BYTES", sum(sizes[1:]))
    store.used()
    assert sorted(store.folder.iterdir()) == paths[1:]
    # what is rendered anew does not lead beyond it either
    filled(store)
    assert sum(path.stat().st_size for path in store.folder.iterdir()) <= sum(sizes[1:])


@pytest.mark.skipif(sys.platform != "linux", reason="processes are forked on Linux only")
@pytest.mark.filterwarnings("ignore::DeprecationWarning")  # Python 3.12 warns of any thread
def test_two_processes_that_fill_it_at_once_do_each_other_no_harm(store):
    context = multiprocessing.get_context("fork")
    others = [context.Process(target=filled, args=(store,)) for _ in range(3)]
    for other in others:
        other.start()
    for other in others:
        other.join()
        assert other.exitcode == 0
    assert len(list(store.folder.iterdir())) == 3
    assert_same(filled(store), filled(None))
