"""Finished tracks are kept, found again, limited, and never stop a track from being made."""

from __future__ import annotations

import json
import os
import random
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import pytest

from backing.errors import OutputError
from backing.mixdown import cache as cache_module
from backing.mixdown.cache import DEFAULT_LIMIT, SUMS, Cache, key_of, user_cache


def noise(path: Path, size: int = 1000, seed: int = 1) -> Path:
    path.write_bytes(random.Random(seed).randbytes(size))
    return path


@pytest.fixture
def kept(tmp_path: Path) -> Cache:
    return Cache(tmp_path / "cache")


def test_what_is_kept_is_found_under_another_name(kept: Cache, tmp_path: Path) -> None:
    mix, bass = noise(tmp_path / "one.wav"), noise(tmp_path / "one.bass.wav", seed=2)
    kept.keep("key", [mix, bass])
    found = kept.fetch("key", tmp_path / "two.wav")
    assert found == (tmp_path / "two.wav", tmp_path / "two.bass.wav")
    assert [path.read_bytes() for path in found] == [mix.read_bytes(), bass.read_bytes()]
    assert kept.fetch("other", tmp_path / "three.wav") is None
    assert not (tmp_path / "three.wav").exists()


@pytest.mark.parametrize("name", ["track.wav", "track.bass.wav", SUMS])
@pytest.mark.parametrize("harm", ["changed", "cut", "gone"])
def test_a_harmed_entry_is_not_used(kept: Cache, tmp_path: Path, name: str, harm: str) -> None:
    mix, bass = noise(tmp_path / "one.wav"), noise(tmp_path / "one.bass.wav", seed=2)
    kept.keep("key", [mix, bass])
    harmed = kept.folder / "key" / name
    if harm == "gone":
        harmed.unlink()
    else:
        data = harmed.read_bytes()
        harmed.write_bytes(data[:-1] if harm == "cut" else data[:-1] + b"?")
    before = mix.read_bytes()
    assert kept.fetch("key", mix) is None
    assert mix.read_bytes() == before
    assert sorted(path.name for path in tmp_path.iterdir()) == ["cache", "one.bass.wav", "one.wav"]
    # and is made anew
    kept.keep("key", [mix, bass])
    assert kept.fetch("key", tmp_path / "two.wav") is not None


def test_the_longest_unused_go_first(kept: Cache, tmp_path: Path) -> None:
    for number in range(4):
        kept.keep(f"key{number}", [noise(tmp_path / "one.wav", 1000)])
        os.utime(kept.folder / f"key{number}" / SUMS, (number, number))
    kept.fetch("key0", tmp_path / "two.wav")
    smaller = kept.limited(3000)
    assert {entry.folder.name for entry in smaller.entries()} == {"key3", "key0"}
    smaller.keep("key5", [noise(tmp_path / "one.wav", 1500)])
    assert {entry.folder.name for entry in smaller.entries()} == {"key0", "key5"}


def test_what_is_larger_than_the_limit_is_not_kept(tmp_path: Path) -> None:
    small = Cache(tmp_path / "cache", 500)
    small.keep("key", [noise(tmp_path / "one.wav", 501)])
    assert small.entries() == ()


def test_clearing_takes_all_away_with_what_was_left_half_done(kept: Cache, tmp_path: Path) -> None:
    kept.keep("key", [noise(tmp_path / "one.wav")])
    (kept.folder / "passing-1").mkdir()
    noise(kept.folder / "passing-1" / "half.wav")
    kept.clear()
    assert list(kept.folder.iterdir()) == []


def test_a_cache_that_cannot_be_never_fails(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("no folder")
    impossible = Cache(tmp_path / "file" / "cache")
    impossible.keep("key", [noise(tmp_path / "one.wav")])
    assert impossible.fetch("key", tmp_path / "two.wav") is None
    assert impossible.entries() == ()
    impossible.clear()
    with pytest.raises(OutputError):
        impossible.limited(1)


def test_a_target_that_cannot_be_written_is_told(kept: Cache, tmp_path: Path) -> None:
    kept.keep("key", [noise(tmp_path / "one.wav")])
    with pytest.raises(OutputError):
        kept.fetch("key", tmp_path / "nowhere" / "two.wav")
    assert len(kept.entries()) == 1


def _busy(folder: str, seed: int) -> bool:
    """Keep and fetch the same few tracks over and over, in little room."""
    kept, dice = Cache(Path(folder) / "cache", 5000), random.Random(seed)
    for turn in range(150):
        number = dice.randrange(4)
        made = noise(Path(folder) / f"{seed}.wav", 1500, number)
        kept.keep(f"key{number}", [made])
        found = kept.fetch(f"key{number}", Path(folder) / f"{seed} found.wav")
        if found and found[0].read_bytes() != made.read_bytes():
            return False
        if turn % 50 == 49:
            kept.clear()
    return True


def test_several_processes_at_once(tmp_path: Path) -> None:
    with ProcessPoolExecutor(4) as pool:
        assert all(pool.map(_busy, [str(tmp_path)] * 4, range(4)))
    kept = Cache(tmp_path / "cache", 5000)
    for entry in kept.entries():
        sums = json.loads((entry.folder / SUMS).read_text())
        assert set(sums) == {"track.wav"}


def test_where_it_lies(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """XDG Base Directory Specification 0.8: a relative path is to be ignored."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    assert user_cache() == Cache(tmp_path / "backing" / "tracks", DEFAULT_LIMIT)
    user_cache().limited(7)
    assert user_cache().limit == 7
    monkeypatch.setenv("HOME", str(tmp_path / "home"))
    for nothing in ("", "relative/path"):
        monkeypatch.setenv("XDG_CACHE_HOME", nothing)
        monkeypatch.setattr(cache_module.sys, "platform", "linux")
        assert user_cache().folder == tmp_path / "home" / ".cache" / "backing" / "tracks"
    monkeypatch.setattr(cache_module.sys, "platform", "darwin")
    assert user_cache().folder == tmp_path / "home" / "Library" / "Caches" / "backing" / "tracks"


def test_keys_tell_inputs_and_programs_apart(monkeypatch: pytest.MonkeyPatch) -> None:
    keys = {key_of(parts) for parts in (["ab", "c"], ["a", "bc"], ["abc"], [b"ab", "cd"])}
    assert len(keys) == 4
    assert key_of(["ab", "c"]) == key_of([b"ab", b"c"])
    before = key_of(["a"])
    monkeypatch.setattr(cache_module, "program", lambda: "another")
    assert key_of(["a"]) != before


def test_a_user_without_a_home_keeps_nothing_and_has_no_trouble(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def homeless() -> Path:
        raise RuntimeError("Could not determine home directory.")

    monkeypatch.delenv("XDG_CACHE_HOME", raising=False)
    monkeypatch.setattr("sys.platform", "linux")
    monkeypatch.setattr(Path, "home", homeless)
    cache = user_cache()
    cache.keep("key", [noise(tmp_path / "one.wav")])
    assert cache.fetch("key", tmp_path / "two.wav") is None
    assert cache.entries() == ()
    cache.clear()
    with pytest.raises(OutputError):
        cache.limited(5)


def test_other_compiled_loops_make_another_sound() -> None:
    assert "libloops" in cache_module.program()
    assert "numpy" in cache_module.program()


def test_words_are_kept_with_the_files(kept: Cache, tmp_path: Path) -> None:
    kept.keep("key", [noise(tmp_path / "one.wav")], "3:04 min, 120 bpm, B♭")
    assert kept.about("key") == "3:04 min, 120 bpm, B♭"
    assert kept.about("other") == ""
    assert kept.fetch("key", tmp_path / "two.wav") == (tmp_path / "two.wav",)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["cache", "one.wav", "two.wav"]
