"""What once failed is run in every test, and a few cases of each target beside it."""

from __future__ import annotations

import random
import subprocess
import sys
from pathlib import Path

import pytest

from backing.errors import UserError
from tests.fuzz import kills, loops, machines
from tests.fuzz.__main__ import PROCESSES, SHARE, TARGETS
from tests.fuzz.harness import CORPUS, Counts, Hang, Target, Wrong, check_sentence, fuzz, judged

ROOT = Path(__file__).parents[2]
CASES = sorted(path for path in CORPUS.rglob("*") if path.is_file())


@pytest.mark.parametrize("path", CASES, ids=lambda path: str(path.relative_to(CORPUS)))
def test_what_once_failed_is_answered(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir("/")
    assert not judged(TARGETS[path.parent.name], path.read_bytes()).startswith("caught")


@pytest.mark.parametrize("name", TARGETS)
def test_a_few_cases_of_each_target(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir("/")
    counts = Counts()
    fuzz(TARGETS[name], random.Random(1), 600, 60, counts)
    assert counts.cases == 60
    assert not counts.failures, counts.failures


def test_every_target_has_a_corpus_or_runs_by_itself() -> None:
    assert {path.parent.name for path in CASES} == set(TARGETS)
    assert set(PROCESSES.values()) == {kills.fuzz, loops.fuzz, machines.fuzz}
    assert set(SHARE) <= {*TARGETS, *PROCESSES}


def test_what_is_wrong_is_seen(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A fuzzer that sees nothing finds nothing."""
    monkeypatch.setattr("tests.fuzz.harness.FOUND", tmp_path)
    monkeypatch.setattr("tests.fuzz.harness.SECONDS", 0.1)

    def run(data: bytes) -> str:
        match data:
            case b"traceback":
                return {}[data]
            case b"hang":
                while True:
                    pass
            case b"no sentence":
                raise UserError("", "Traceback")
        raise UserError("It is refused.", "Write another.")

    for data in (b"traceback", b"hang", b"no sentence", b"refused"):
        counts = Counts()
        fuzz(Target("x", lambda _, data=data: data, run), random.Random(1), 60, 1, counts)
        assert counts.failures.total() == (data != b"refused"), data
    assert len(list(tmp_path.rglob("*.txt"))) == 3
    with pytest.raises(Hang):
        judged(Target("x", lambda _: b"", run), b"hang")
    with pytest.raises(Wrong):
        check_sentence(UserError("<x object at 0x7f> is wrong."))


def test_processes_ended_leave_nothing() -> None:
    """One of each kind by each signal takes minutes: here the quickest, whatever moment it is.

    In a process of its own: what is forked from this one has its libraries, and so other encoders.
    """
    program = "from tests.fuzz import kills; raise SystemExit(kills.fuzz(5, 1))"
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, cwd=ROOT, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert "0 left what they must not" in done.stdout
