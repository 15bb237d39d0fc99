"""Practice logs: at which tempo a tune got steady, and what is next."""

from __future__ import annotations

from typing import Any

from backing.lesson.practiced import practiced
from backing.take.advice import WIDE_MS


def take(when: str, tempo: float, spread: float | None, title: str = "Blue") -> dict[str, Any]:
    return {"when": when, "tempo": tempo, "title": title, "time": {"spread_ms": spread}}


LOG = [
    take("2026-12-08T18:00", 96, WIDE_MS + 20),
    take("2026-12-08T19:00", 97, WIDE_MS - 5),
    take("2026-12-09T18:00", 112, WIDE_MS),
    take("2026-12-10T18:00", 128, WIDE_MS + 1),
    take("2026-12-10T18:30", 200, 5, "Green"),
]


def test_the_fastest_steady_tempo_leads_on() -> None:
    found = practiced(LOG, "Blue")
    assert (found.takes, found.days, found.steady) == (4, 3, 112)
    assert (found.slowest, found.fastest, found.following) == (96, 128, (112, 118, 123))
    assert 'steady at 112; next: tempo = "112 118 123"' in str(found)


def test_the_last_take_at_a_tempo_counts() -> None:
    worse = practiced([*LOG, take("2026-12-11T18:00", 112, WIDE_MS + 9)], "Blue")
    assert worse.steady == 97


def test_a_tempo_that_is_not_steady_leads_back() -> None:
    found = practiced([take("2026-12-08T18:00", 100, None)], "Blue")
    assert found.steady is None
    assert found.following == (90, 95, 100)
    assert "not steady yet" in str(found)


def test_nothing_goes_beyond_the_goal() -> None:
    assert practiced(LOG, "Blue", goal=115).following == (112, 115)
