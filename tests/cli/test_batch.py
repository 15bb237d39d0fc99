"""Many tracks at once: workers end with their parent, results are released, names are checked."""

from __future__ import annotations

import gc
import os
import signal
import subprocess
import sys
import time
from concurrent.futures import BrokenExecutor
from pathlib import Path

import dask
import distributed
import pytest

from backing.chart.changes import read_changes
from backing.cli import batch
from backing.cli.batch import Outcome, outcomes
from backing.cli.job import Job
from backing.cli.status import DONE, USERS
from backing.combo.band import Band
from backing.errors import UserError
from backing.routine.request import Request
from tests.cli.conftest import SMALL
from tests.living import lives


def job(target: Path, times: int = 1) -> Job:
    form = read_changes("Dm7 G7 | Cmaj7")
    request = Request(bars="1-2", times=times)
    return Job(form, request, Band(), target, soundfont=Path(SMALL), cached=False)


def children(pid: int) -> list[int]:
    """The processes that one has started, and those that they have."""
    path = Path(f"/proc/{pid}/task/{pid}/children")
    mine = [int(word) for word in path.read_text().split()] if path.exists() else []
    return [*mine, *(other for child in mine for other in children(child))]


SLOW = """
import signal, sys
from pathlib import Path
from tests.cli.test_batch import job, outcomes
if __name__ == "__main__":
    # what runs the tests may be deaf to Ctrl-C
    signal.signal(signal.SIGINT, signal.default_int_handler)
    jobs = [job(Path(sys.argv[1], f"{n}.wav"), 400) for n in range(4)]
    for outcome in outcomes(jobs):
        print(outcome.words)
"""


@pytest.mark.skipif(sys.platform != "linux", reason="/proc is read")
@pytest.mark.parametrize("number", [signal.SIGKILL, signal.SIGTERM, signal.SIGINT])
def test_workers_end_with_their_parent_however_it_ends(
    tmp_path: Path, number: signal.Signals
) -> None:
    (tmp_path / "out").mkdir()
    script = tmp_path / "slow.py"
    script.write_text(SLOW)
    root = Path(__file__).parents[2]
    parent = subprocess.Popen(
        [sys.executable, str(script), str(tmp_path / "out")],
        env={**os.environ, "PYTHONPATH": str(root)},
        stderr=subprocess.DEVNULL,
    )
    deadline = time.monotonic() + 60
    while not list(tmp_path.glob("out/.backing-*/*/.*")) and time.monotonic() < deadline:
        time.sleep(0.05)
    workers = children(parent.pid)
    assert workers
    parent.send_signal(number)
    parent.wait(30)
    while any(map(lives, workers)) and time.monotonic() < deadline:
        time.sleep(0.05)
    assert not any(map(lives, workers))
    while list(tmp_path.glob("out/*")) and time.monotonic() < deadline:
        time.sleep(0.05)
    assert not list((tmp_path / "out").iterdir()), "the hidden folder goes, too"


TRACKER = """
import os, signal, sys, time
from multiprocessing import resource_tracker
from pathlib import Path
from backing.cli import batch
if __name__ == "__main__":
    with batch._processes(1, Path(sys.argv[1])) as pool:
        pool.submit(os.getpid).result()
        os.kill(resource_tracker._resource_tracker._pid, signal.SIGHUP)
        pool.submit(time.sleep, 0.2).result()
"""


@pytest.mark.skipif(sys.platform == "win32", reason="it has no hang-up")
def test_a_terminal_that_is_closed_takes_nothing_away_from_the_workers(tmp_path: Path) -> None:
    script = tmp_path / "tracked.py"
    script.write_text(TRACKER)
    done = subprocess.run(
        [sys.executable, str(script), str(tmp_path)],
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])},
        stderr=subprocess.PIPE,
        check=True,
    )
    assert done.stderr == b""


def test_whoever_stops_listening_stops_the_work(tmp_path: Path) -> None:
    begun = time.monotonic()
    results = outcomes([job(tmp_path / "a.wav"), job(tmp_path / "b.wav", 900)])
    assert next(results).status == DONE
    results.close()
    assert time.monotonic() - begun < 60
    assert [path.name for path in tmp_path.iterdir()] == ["a.wav"]


def test_a_worker_that_is_killed_is_told_of(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    results = outcomes([job(tmp_path / f"{n}.wav", 1000) for n in range(2)])
    monkeypatch.setattr(batch, "wait", killing(batch.wait, tmp_path))
    found = list(results)
    assert {each.status for each in found} == {USERS}
    assert all("memory" in each.words for each in found)
    assert not list(tmp_path.iterdir())


def test_processes_that_die_before_the_end_are_told_of(tmp_path: Path) -> None:
    with batch._processes(1, tmp_path) as pool:
        assert pool is not None
        with pytest.raises(BrokenExecutor):
            pool.submit(os._exit, 3).result()
        (found,) = batch._finished(pool, [job(tmp_path / "a.wav")], tmp_path)
    assert found.status == USERS
    assert found.words.startswith("backing: a.wav: its process was ended (BrokenProcessPool).")


def test_a_worker_that_begins_after_the_end_says_nothing(
    tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    with batch._processes(1, tmp_path / "swept") as pool:
        assert pool is not None
        with pytest.raises(BrokenExecutor):
            pool.submit(os.getpid).result()
    assert capfd.readouterr().err == ""


def test_where_no_process_starts_the_tracks_are_made_all_the_same(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("multiprocessing.spawn._python_exe", b"/bin/false")
    found = list(outcomes([job(tmp_path / f"{n}.wav") for n in range(2)]))
    assert [each.status for each in found] == [DONE, DONE], found
    assert {path.name for path in tmp_path.iterdir()} == {"0.wav", "1.wav"}


def killing(wait, folder: Path):
    """``wait``, after the first worker that is at work was killed."""

    def waiting(*given, **named):
        deadline = time.monotonic() + 60
        while not list(folder.glob(".backing-*/*/.*")) and time.monotonic() < deadline:
            time.sleep(0.05)
        workers = [pid for pid in children(os.getpid()) if b"spawn_main" in command(pid)]
        os.kill(workers[0], signal.SIGKILL)
        return wait(*given, **named)

    return waiting


def command(pid: int) -> bytes:
    try:
        return Path(f"/proc/{pid}/cmdline").read_bytes()
    except OSError:
        return b""


@pytest.mark.parametrize(
    "name", ["../a.wav", "/etc/a.wav", "b.wav", "a.sh", "a", "a.wav/x", "a.bass/../x.wav"]
)
def test_names_that_come_back_are_checked(tmp_path: Path, name: str) -> None:
    outcome = Outcome(DONE, "", contents=(("a.wav", b"fine"), (name, b"evil")))
    with pytest.raises(ValueError, match="other names"):
        batch._placed(outcome, job(tmp_path / "a.wav"))
    assert not list(tmp_path.iterdir())


def test_files_of_a_track_and_its_stems_are_placed(tmp_path: Path) -> None:
    contents = (("a.wav", b"1"), ("a.bass.wav", b"2"), ("a.count-in.wav", b"3"))
    batch._placed(Outcome(DONE, "", contents=contents), job(tmp_path / "a.wav"))
    assert {path.name for path in tmp_path.iterdir()} == {name for name, _ in contents}


def test_a_cluster_keeps_nothing_that_was_taken(tmp_path: Path) -> None:
    with distributed.LocalCluster(
        n_workers=1, threads_per_worker=1, dashboard_address=None, protocol="tcp"
    ) as cluster:
        address = cluster.scheduler_address
        left: list[int] = []
        with distributed.Client(address, set_as_default=False) as other:
            for outcome in outcomes([job(tmp_path / f"{n}.wav") for n in range(5)], address):
                assert outcome.status == DONE, outcome.words
                gc.collect()
                time.sleep(0.3)
                kept = other.run(lambda dask_worker: len(dask_worker.data))
                left.append(sum(kept.values()))
    # what is finished but not taken yet is there, what was taken is not
    assert left[-1] == 0
    assert all(count <= 4 - at for at, count in enumerate(left))
    assert len(list(tmp_path.iterdir())) == 5


def over_tls(folder: Path) -> None:
    """A cluster that is reached with its certificates, and without them not."""
    keys = distributed.Security.temporary()  # made here, signed by nobody else
    with distributed.LocalCluster(
        n_workers=1, threads_per_worker=1, dashboard_address=None, protocol="tls", security=keys
    ) as cluster:
        address = cluster.scheduler_address
        assert address.startswith("tls://")
        jobs = [job(folder / "a.wav")]
        with pytest.raises(UserError, match="No Dask scheduler answers at tls://"):
            list(outcomes(jobs, address))
        mine = {
            "ca-file": keys.tls_ca_file,
            "client.key": keys.tls_client_key,
            "client.cert": keys.tls_client_cert,
        }
        with dask.config.set({f"distributed.comm.tls.{name}": pem for name, pem in mine.items()}):
            (found,) = outcomes(jobs, address)
    assert found.status == DONE, found.words
    assert (folder / "a.wav").exists()


def test_a_cluster_over_tls_takes_its_certificates_alone(tmp_path: Path) -> None:
    """In a process of its own: Dask's loops of other tests keep a new one from starting."""
    code = "import sys, pathlib; from tests.cli.test_batch import over_tls; "
    code += "over_tls(pathlib.Path(sys.argv[1]))"
    root = Path(__file__).parents[2]
    subprocess.run([sys.executable, "-c", code, str(tmp_path)], cwd=root, check=True, timeout=300)
