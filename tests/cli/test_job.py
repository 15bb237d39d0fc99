"""A track is arranged beside the loading of the mixdown: nothing is to be heard or read of that."""

from __future__ import annotations

import os
import signal
from pathlib import Path

import pytest

from backing import aside
from backing.chart.changes import read_changes
from backing.cli import job as module
from backing.cli.job import Job, _arranged
from backing.combo.band import Band
from backing.routine.request import Request
from backing.routine.routine import make_routine
from tests.cli.conftest import SMALL, Run

pytestmark = pytest.mark.skipif(not aside.FORKS, reason="processes are forked on Linux only")

EVERYBODY = Band(frozenset({"bass", "comp", "drums", "guide", "click"}))
LOOP = ("--bars", "1-2", "--times", "1", "--soundfont", SMALL, "--no-cache")


@pytest.fixture
def forks(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """One for each process: they are forked though the test run may have threads of its own."""
    forks: list[int] = []
    fork = os.fork

    def counted() -> int:
        forks.append(1)
        return fork()

    monkeypatch.setattr(os, "fork", counted)
    monkeypatch.setattr(os, "cpu_count", lambda: 2)
    monkeypatch.setattr(aside, "may_fork", lambda: True)
    return forks


def job_of(request: Request, target: str = "x.wav", threads: int | None = None) -> Job:
    form = read_changes("Dm7 G7 | Cmaj7 | Fm7 Bb7 | Ebmaj7")
    return Job(form, request, EVERYBODY, Path(target), soundfont=Path(SMALL), threads=threads)


REQUESTS = (
    Request(choruses=3),
    Request(bars="1-2", times=2),
    Request(climb="90-150:30"),
    Request(key="C F#", times=1),
)


@pytest.mark.parametrize("asked", REQUESTS)
def test_what_comes_from_another_process_is_the_same_performance(
    forks: list[int], asked: Request
) -> None:
    job = job_of(asked)
    routine = make_routine(job.form, job.request)
    away, here = _arranged(job, routine), module._played(routine, job.band)
    assert forks == [1]
    assert away.passes == here.passes
    assert away.clock.length_seconds == here.clock.length_seconds
    assert (away.title, away.tail, away.circular) == (here.title, here.tail, here.circular)
    # what passes at other tempos share they share afterwards
    assert len({id(each.parts) for each in away.passes}) == len(
        {id(each.parts) for each in here.passes}
    )


def test_where_another_process_would_gain_nothing_there_is_none(
    forks: list[int], monkeypatch: pytest.MonkeyPatch
) -> None:
    few = job_of(Request(choruses=1))
    routine = make_routine(few.form, few.request)
    for job in (job_of(few.request, "x.mid"), job_of(few.request, threads=1)):
        _arranged(job, routine)
    bars = sum(len(each.bars) for each in routine.passes)
    monkeypatch.setattr(module, "MOST_BARS_SENT", bars - 1)
    _arranged(few, routine)
    monkeypatch.setattr(os, "cpu_count", lambda: 1)
    monkeypatch.setattr(module, "MOST_BARS_SENT", bars)
    _arranged(few, routine)
    assert forks == []
    monkeypatch.setattr(os, "cpu_count", lambda: 2)
    _arranged(few, routine)
    assert forks == [1]


@pytest.mark.usefixtures("here")
@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--changes", "Cmaj7 |", "--bars", "1", "--line", "call"), "two bars at least"),
        (("--changes", "N.C. | Cmaj7", "--bars", "1", "--line", "etude"), "no chord"),
    ],
)
def test_a_mistake_found_there_is_told_in_the_same_words(
    run: Run, forks: list[int], monkeypatch: pytest.MonkeyPatch, words: tuple[str, ...], told: str
) -> None:
    more = ("--soundfont", SMALL, "-o", "x.wav")
    away = run("track", *words, *more)
    assert forks == [1]
    assert away.complains(told)
    monkeypatch.setattr(aside, "may_fork", lambda: False)
    assert run("track", *words, *more) == away
    assert not Path("x.wav").exists()


def test_an_arranger_that_is_killed_is_told_of_in_a_sentence(
    here: Path, run: Run, forks: list[int], monkeypatch: pytest.MonkeyPatch
) -> None:
    (here / "x.wav").write_bytes(b"the old one")
    monkeypatch.setattr(module, "_played", lambda *_: os.kill(os.getpid(), signal.SIGKILL))
    assert run("track", "four.tune", "-o", "x.wav", *LOOP).complains("ended a process", "memory")
    assert forks == [1]
    assert (here / "x.wav").read_bytes() == b"the old one"
    assert {path.name for path in here.iterdir()} == {"four.tune", "x.wav"}


def test_the_same_bytes_from_one_process_or_two(
    here: Path, run: Run, forks: list[int], monkeypatch: pytest.MonkeyPatch
) -> None:
    assert run("track", "four.tune", "-o", "away.wav", *LOOP).status == 0
    assert forks
    made_of = len(forks)
    monkeypatch.setattr(aside, "may_fork", lambda: False)
    words = ("track", "four.tune", "-o", "here.wav", *LOOP)
    assert run(*words).status == 0
    assert len(forks) == made_of
    assert (here / "away.wav").read_bytes() == (here / "here.wav").read_bytes()
