"""The last value that is allowed and the first that is not; which exit status of several wins."""

from __future__ import annotations

from pathlib import Path

import mido
import pytest

from backing.cli.job import Job
from backing.errors import InternalError
from tests.cli.conftest import TUNE, Run


@pytest.mark.parametrize("ratio", ["1", "1.0", "3/2", "4"])
def test_a_swing_ratio_from_even_to_four_is_played(here: Path, run: Run, ratio: str) -> None:
    said = run("track", "four.tune", "-o", "x.mid", "--swing", ratio)
    assert said.status == 0, said.err


@pytest.mark.parametrize("ratio", ["0.99", "4.01", "0", "-1"])
def test_a_swing_ratio_beyond_is_refused(here: Path, run: Run, ratio: str) -> None:
    assert run("track", "four.tune", "-o", "x.mid", f"--swing={ratio}").complains(ratio)
    assert not (here / "x.mid").exists()


def test_a_ratio_of_one_is_even(here: Path, run: Run) -> None:
    """Ride strokes of an even band lie on eighths, within a drummer's spread of 1 ms."""
    words = ("--swing", "1", "--only", "drums", "--count-in", "0", "--choruses", "1")
    assert run("track", "four.tune", "-o", "x.mid", *words).status == 0
    file = mido.MidiFile(here / "x.mid")
    at, eighths = 0.0, []
    for message in file:
        at += message.time
        if message.type == "note_on" and message.velocity and message.note == 51:
            eighths.append(at * 180 / 60 * 2)
    off_beats = [place for place in eighths if round(place) % 2]
    assert off_beats
    assert all(abs(place - round(place)) < 0.02 for place in off_beats)


BROKEN = "The band fell off the stage."
DONE, OURS, USERS = "done.tune", "ours.tune", "users.tune"


@pytest.mark.parametrize(
    ("tunes", "status"),
    [
        ((DONE, "more.tune"), 0),
        ((DONE, USERS), 2),
        ((USERS, DONE), 2),
        ((DONE, OURS), 1),
        ((OURS, DONE), 1),
        ((USERS, OURS, DONE), 1),
        ((DONE, OURS, USERS), 1),
        (("unread.tune", DONE, "more.tune"), 2),
        (("unread.tune", OURS, DONE), 1),
    ],
)
def test_a_fault_of_ours_outweighs_a_mistake_which_outweighs_what_is_done(
    here: Path, run: Run, monkeypatch: pytest.MonkeyPatch, tunes: tuple[str, ...], status: int
) -> None:
    for name in (DONE, OURS, "more.tune"):
        (here / name).write_text(TUNE, "utf-8")
    (here / USERS).write_text(TUNE.replace("| Dm7 | G7 | Cmaj7 | % |", "| Dm7 |"), "utf-8")
    (here / "unread.tune").write_text(TUNE.replace("G7", "Gblah"), "utf-8")
    make = Job.make

    def broken(job, *more):  # type: ignore[no-untyped-def]
        if job.target.stem == "ours":
            raise InternalError(BROKEN)
        return make(job, *more)

    monkeypatch.setattr(Job, "make", broken)  # files of MIDI are made in this process
    said = run("track", *tunes, "-o", ".", "--format", "mid", "--bars", "3-4", "--times", "1")
    assert said.status == status, said.err
    assert (BROKEN in said.err) == (OURS in tunes)
    made = {path.stem for path in here.glob("*.mid")}
    assert made == {Path(name).stem for name in tunes} & {"done", "more"}
