"""Tracks as files: the recipe makes them again, stems add up, marks are read, batches are equal."""

from __future__ import annotations

import json
import shlex
import shutil
import subprocess
from pathlib import Path

import distributed
import mutagen
import numpy as np
import pytest
import soundfile

from backing.mixdown.tags import Label, write_label
from tests.cli.conftest import SMALL, TUNE, Run, run_apart

SUFFIXES = ("wav", "flac", "mp3", "ogg", "opus", "m4a")
LOOP = ("--bars", "1-4", "--times", "1", "--soundfont", SMALL)
CLIMB = ("--climb", "150-180:15", *LOOP)


def comment_of(path: Path) -> str:
    """The comment in a file's tags, by mutagen."""
    tags = mutagen.File(path).tags
    if path.suffix in (".flac", ".ogg", ".opus"):
        return str(tags["comment"][0])
    return str(tags["\xa9cmt" if path.suffix == ".m4a" else "COMM::eng"][0])


def recipe_of(path: Path) -> list[str]:
    """The words of the command in a file's tags."""
    return shlex.split(comment_of(path).split(": ", 1)[1])


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_the_recipe_in_the_tags_makes_the_very_same_file(here: Path, run: Run, suffix: str) -> None:
    odd = ("--line", "guide", "--click", "2 and 4", "--without", "comp", "--seed", "7")
    assert run("track", "four.tune", "-o", f"odd name.{suffix}", *LOOP, *odd).status == 0
    words = recipe_of(here / f"odd name.{suffix}")
    assert words[:3] == ["backing", "track", "four.tune"]
    assert run(*words[1:], "--no-cache").status == 0
    (again,) = here.glob(f"four-*.{suffix}")
    assert again.read_bytes() == (here / f"odd name.{suffix}").read_bytes()


def test_the_recipe_of_bare_changes(here: Path, run: Run) -> None:
    words = ("track", "--changes", "Dm7 | G7 | Cmaj7 | %", "--key", "C F", "--times", "1")
    assert run(*words, "-o", "ii-v.flac", "--soundfont", SMALL).status == 0
    again = recipe_of(here / "ii-v.flac")
    assert run(*again[1:], "--no-cache").status == 0
    assert (here / "changes-in-C-F-times-1.flac").read_bytes() == (here / "ii-v.flac").read_bytes()


def test_the_recipe_of_a_trade(here: Path, run: Run) -> None:
    words = ("--bars", "1-4", "--times", "2", "--trade", "2 with line")
    assert run("track", "four.tune", "-o", "x.wav", *words, "--soundfont", SMALL).status == 0
    again = recipe_of(here / "x.wav")
    assert run(*again[1:], "--no-cache").status == 0
    made = here / "four-bars-1-4-trading-twos-with-the-line-times-2.wav"
    assert made.read_bytes() == (here / "x.wav").read_bytes()


def test_the_recipe_of_separate_files(here: Path, run: Run) -> None:
    assert run("track", "four.tune", "-o", "slow.wav", *CLIMB, "--separate").status == 0
    names = sorted(path.name for path in here.glob("slow*.wav"))
    assert names == ["slow-01-150-bpm.wav", "slow-02-165-bpm.wav", "slow-03-180-bpm.wav"]
    assert run(*recipe_of(here / names[1])[1:], "--no-cache").status == 0
    for name in names:
        again = here / name.replace("slow", "four-bars-1-4-climbing-150-180-15-times-1")
        assert again.read_bytes() == (here / name).read_bytes()


def test_separate_files_of_minor_keys_say_so(here: Path, run: Run) -> None:
    (here / "four.tune").write_text(TUNE.replace("key: C", "key: C minor"))
    words = ("--key", "B F#", "--times", "1", "--separate", "--format", "mid")
    said = run("track", "four.tune", *words)
    names = {f"four-in-B-F#-times-1-0{key}.mid" for key in ("1-Bm", "2-F#m")}
    assert {path.name for path in here.glob("*.mid")} == names
    assert ", F# minor, seed 1" in said.err


def test_stems_are_called_by_the_words_of_the_options(here: Path, run: Run) -> None:
    words = ("--stems", "--comp", "vibes", "--click", "--line", "guide")
    assert run("track", "four.tune", "-o", "x.wav", *LOOP, *words).status == 0
    names = {path.name for path in here.glob("x-*.wav")}
    players = ("bass", "click", "comp", "count-in", "drums", "guide")
    assert names == {f"x-{player}.wav" for player in players}


@pytest.mark.parametrize(("bits", "kind"), [("16", "PCM_16"), ("24", "PCM_24")])
@pytest.mark.parametrize("suffix", ["wav", "flac"])
def test_stems_add_up_to_the_mix(here: Path, run: Run, suffix: str, bits: str, kind: str) -> None:
    words = ("-o", f"x.{suffix}", "--format", f"{bits}-bit", "--stems")
    assert run("track", "four.tune", *LOOP, *words).status == 0
    stems = sorted(here.glob(f"x-*.{suffix}"))
    assert [path.stem for path in stems] == ["x-bass", "x-comp", "x-count-in", "x-drums"]
    assert soundfile.info(stems[0]).subtype == kind
    mix, _ = soundfile.read(here / f"x.{suffix}")
    total = sum(soundfile.read(stem)[0] for stem in stems)
    # each file is rounded to the nearest step: half a step for each stem and for the mix
    step = 2.0 ** (1 - int(bits))
    assert np.abs(total - mix).max() <= (len(stems) + 1) / 2 * step
    assert np.abs(mix).max() > 0.1


def marks_by_ffprobe(path: Path) -> list[tuple[float, str]]:
    """Start (seconds) and name of each chapter as ffprobe (apt install ffmpeg) reads them."""
    command = ["ffprobe", "-v", "error", "-show_chapters", "-of", "json", str(path)]
    run = subprocess.run(command, capture_output=True, check=True)
    chapters = json.loads(run.stdout)["chapters"]
    return sorted((float(one["start_time"]), one["tags"]["title"]) for one in chapters)


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_every_section_and_tempo_is_marked(here: Path, run: Run, suffix: str) -> None:
    assert run("track", "four.tune", "-o", f"x.{suffix}", *CLIMB).status == 0
    expected, start = [], 0.0
    for tempo in (150, 165, 180):
        # two bars of count-in, four bars of A, in four
        expected += [(start, f"count-in, {tempo} bpm"), (start + 480 / tempo, "A, 1st time")]
        start += 6 * 4 * 60 / tempo
    found = marks_by_ffprobe(here / f"x.{suffix}")
    assert [name for _, name in found] == [name for _, name in expected]
    assert [at for at, _ in found] == pytest.approx([at for at, _ in expected], abs=1.1e-3)


def test_libsndfile_reads_the_cue_points(here: Path, run: Run) -> None:
    """SF_CUES and SFC_GET_CUE of libsndfile's sndfile.h, by way of its own library."""
    assert run("track", "four.tune", "-o", "x.wav", *LOOP).status == 0
    with soundfile.SoundFile(here / "x.wav") as file:
        room = soundfile._ffi.new("char[]", 4 + 100 * (6 * 4 + 256))
        assert soundfile._snd.sf_command(file._file, 0x10CE, room, len(room))
        data = bytes(soundfile._ffi.buffer(room))
        assert int.from_bytes(data[:4], "little") == 2
        frames = [int.from_bytes(data[at + 20 : at + 24], "little") for at in (4, 4 + 280)]
    # two bars of count-in at 180: 480 / 180 seconds
    assert frames == [0, round(44100 * 480 / 180)]


@pytest.mark.parametrize("suffix", ["wav", "flac", "mp3", "ogg", "opus", "m4a"])
def test_a_label_changes_neither_sound_nor_marks(here: Path, run: Run, suffix: str) -> None:
    """Held against ffmpeg's decoder and ffprobe's chapters, and mutagen's reading of the tags."""
    for name in ("x", "y"):
        assert run("track", "four.tune", "-o", f"{name}.{suffix}", *LOOP).status == 0
    before = sound_by_ffmpeg(here / f"x.{suffix}"), marks_by_ffprobe(here / f"x.{suffix}")
    for name in ("x", "y"):
        write_label(here / f"{name}.{suffix}", Label("2 bridge, 96 bpm, G minor", "Monday", 2, 9))
    assert (here / f"x.{suffix}").read_bytes() == (here / f"y.{suffix}").read_bytes()
    after = sound_by_ffmpeg(here / f"x.{suffix}"), marks_by_ffprobe(here / f"x.{suffix}")
    assert after == before
    shown = str(mutagen.File(here / f"x.{suffix}").tags.pprint())
    assert "2 bridge, 96 bpm, G minor" in shown
    assert "Monday" in shown
    assert "Dm7" in shown
    easy = mutagen.File(here / f"x.{suffix}", easy=True).tags if suffix != "wav" else None
    if easy is not None:
        assert easy["tracknumber"][0].split("/")[0] == "2"
    assert recipe_of(here / f"x.{suffix}")[2] == "four.tune"


def sound_by_ffmpeg(path: Path) -> str:
    """The MD5 of what ffmpeg decodes."""
    words = ("ffmpeg", "-v", "error", "-i", str(path), "-map", "0:a", "-f", "md5", "-")
    return subprocess.run(words, capture_output=True, text=True, check=True).stdout


def test_tags_of_one_key_name_that_key(here: Path, run: Run) -> None:
    words = ("--key", "F", "--times", "1", "--soundfont", SMALL)
    assert run("track", "four.tune", "-o", "x.flac", *words).status == 0
    tags = mutagen.File(here / "x.flac").tags
    assert (tags["title"], tags["key"], tags["bpm"]) == (["Four Steps"], ["F major"], ["180"])
    assert "TimGM6mb" in comment_of(here / "x.flac")


def test_midi_needs_no_sound(here: Path, run: Run) -> None:
    assert run("track", "four.tune", "--format", "mid").status == 0
    assert (here / "four.mid").read_bytes()[:4] == b"MThd"


# --- the cache -----------------------------------------------------------------------------------


def test_a_track_is_made_once(
    here: Path, run: Run, cache_home: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert "cache" not in run("track", "four.tune", "-o", "one.wav", "--stems", *LOOP).err
    monkeypatch.setattr("backing.cli.job._render", None)  # would be a crash
    assert "cache" in run("track", "four.tune", "-o", "two.wav", "--stems", *LOOP).err
    for one in here.glob("one*.wav"):
        assert (here / one.name.replace("one", "two")).read_bytes() == one.read_bytes()
    assert "1 track, " in run("cache").out
    assert str(cache_home / "backing") in run("cache").out
    assert str(cache_home) in run("cache").out
    assert "at most 500 MB" in run("cache", "--limit", "500M").out
    assert "0 tracks" in run("cache", "--clear").out


def test_the_notes_of_a_soundfont_are_kept_for_the_next_track(
    here: Path, run: Run, cache_home: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert run("track", "four.tune", "-o", "one.wav", "--no-cache", *LOOP).status == 0
    assert run("track", "four.tune", "-o", "two.wav", *LOOP).status == 0
    monkeypatch.setattr("backing.mixdown.bank.Synth", None)  # would be a crash
    assert run("track", "four.tune", "-o", "stems.wav", "--stems", *LOOP).status == 0
    assert (here / "one.wav").read_bytes() == (here / "two.wav").read_bytes()


def test_other_inputs_make_another_track(here: Path, run: Run, cache_home: Path) -> None:
    words = ["track", "four.tune", "-o", "x.wav", *LOOP]
    assert run(*words).status == 0
    changes = (
        ["--seed", "2"],
        ["--format", "24-bit"],
        ["--stems"],
        ["--without", "bass"],
    )
    for more in changes:
        assert "cache" not in run(*words, *more).err
    assert "cache" not in run("track", "four.tune", "-o", "x.ogg", *LOOP).err
    assert f"{2 + len(changes)} tracks" in run("cache").out
    (here / "four.tune").write_text(TUNE.replace("Cmaj7", "C6"))
    assert "cache" not in run(*words).err
    assert "cache" in run(*words).err


def test_an_edited_feel_file_makes_another_track(here: Path, run: Run, cache_home: Path) -> None:
    from importlib.resources import files

    swing = (files("backing.combo") / "feels" / "swing.toml").read_text("utf-8")
    (here / "mine.toml").write_text(swing, "utf-8")
    words = ("track", "four.tune", "-o", "x.wav", "--feel", "mine.toml", *LOOP)
    run(*words)
    assert "cache" in run(*words).err
    (here / "mine.toml").write_text(swing + "\n# another\n", "utf-8")
    assert "cache" not in run(*words).err


def test_a_harmed_or_impossible_cache_stops_nothing(here: Path, run: Run, cache_home: Path) -> None:
    words = ("track", "four.tune", "-o", "x.wav", *LOOP)
    run(*words)
    good = (here / "x.wav").read_bytes()
    (kept,) = cache_home.rglob("track.wav")
    kept.write_bytes(good[:-1] + b"?")
    said = run(*words)
    assert (said.status, "cache" in said.err) == (0, False)
    assert (here / "x.wav").read_bytes() == good
    shutil.rmtree(cache_home)
    cache_home.write_text("no folder")
    said = run(*words)
    assert (said.status, "cache" in said.err) == (0, False)
    assert (here / "x.wav").read_bytes() == good


# --- many at once --------------------------------------------------------------------------------


def four_more(here: Path) -> tuple[str, ...]:
    """Four tunes beside the first, the second of them wrong."""
    for number in range(4):
        chord = "G7" if number != 1 else "Gblah"
        text = TUNE.replace("180", str(170 + number)).replace("G7", chord)
        (here / f"{number}.tune").write_text(text)
    return tuple(f"{number}.tune" for number in range(4))


WAYS = {"usual": "", "one processor": "import os; os.cpu_count = lambda: 1"}


def test_a_track_is_the_same_however_it_is_made(here: Path) -> None:
    def made(way: str) -> np.ndarray:
        words = (
            "track",
            "four.tune",
            "-o",
            f"{way}.wav",
            "--no-cache",
            "--format",
            "24-bit",
            *LOOP,
        )
        done = run_apart(*words, "--line", "guide", code=WAYS[way])
        assert done.returncode == 0, done.stderr
        return soundfile.read(here / f"{way}.wav")[0]

    first = made("usual")
    assert np.abs(first).max() > 0.1
    assert np.array_equal(first, made("one processor"))


def test_a_mistake_is_told_in_the_same_words_wherever_it_is_found(here: Path) -> None:
    (here / "own.toml").write_text('like = "swing"\n[drums]\nride = 7\n', "utf-8")
    words = ("track", "four.tune", "-o", "x.wav", "--no-cache", "--feel", "own.toml", *LOOP)
    alone = run_apart(*words)
    assert alone.returncode == 2
    assert "own.toml" in alone.stderr
    assert not (here / "x.wav").exists()


def test_many_tunes_are_the_same_as_one_by_one(here: Path, run: Run) -> None:
    tunes = four_more(here)
    (here / "out").mkdir()
    said = run("track", *tunes, "-o", "out", *LOOP, "--no-cache")
    assert said.status == 2
    assert "1.tune:6:" in said.err
    assert {path.name for path in (here / "out").iterdir()} == {"0.wav", "2.wav", "3.wav"}
    for number in (0, 2, 3):
        assert f"-> out/{number}.wav" in said.err
        assert run("track", f"{number}.tune", "-o", "x.wav", *LOOP, "--no-cache").status == 0
        assert (here / "out" / f"{number}.wav").read_bytes() == (here / "x.wav").read_bytes()


def test_a_track_that_fails_in_a_batch_is_told_by_its_name(here: Path, run: Run) -> None:
    (here / "short.tune").write_text(TUNE.replace("| Dm7 | G7 | Cmaj7 | % |", "| Dm7 | G7 |"))
    (here / "out").mkdir()
    (here / "out" / "short.wav").write_bytes(b"the old one")
    said = run("track", "four.tune", "short.tune", "-o", "out", *LOOP)
    assert said.status == 2
    (line,) = [line for line in said.err.splitlines() if line.startswith("backing: ")]
    assert line.startswith("backing: short.wav: ")
    assert (here / "out" / "short.wav").read_bytes() == b"the old one"
    assert {path.name for path in (here / "out").iterdir()} == {"four.wav", "short.wav"}


def test_a_cluster_of_two_workers(here: Path, run: Run) -> None:
    """Dask's own LocalCluster: a scheduler and two worker processes on this machine."""
    tunes = [tune for tune in four_more(here) if tune != "1.tune"]
    (here / "out").mkdir()
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, dashboard_address=None, protocol="tcp"
    ) as cluster:
        words = ("-o", "out", "--stems", "--bars", "2-3", *LOOP[2:])
        said = run("track", *tunes, *words, "--cluster", cluster.scheduler_address)
    assert said.status == 0, said.err
    assert "-> out/3.wav" in said.err
    run("track", "3.tune", *words[2:], "-o", "x.wav", "--no-cache")
    for stem in ("", "-bass", "-drums", "-comp"):
        there = (here / "out" / f"3{stem}.wav").read_bytes()
        assert there == (here / f"x{stem}.wav").read_bytes()


def test_a_cluster_that_is_not_there(here: Path, run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("backing.cli.batch.PATIENCE_SECONDS", 1)
    for address in ("tcp://127.0.0.1:9", "nonsense"):
        said = run("track", "four.tune", *LOOP, "--cluster", address)
        assert said.complains(address, "dask scheduler"), said.err
