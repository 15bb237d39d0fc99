"""The band varies as players do: distributions over 60 generated forms, with generous bands.

``python -m tests.benchmarks.spread`` prints the whole table with its sources.
"""

from __future__ import annotations

import pytest

from tests.benchmarks.spread import FORMS, TEMPOS, Track, outside, ride_between, tracks


@pytest.fixture(scope="module")
def played() -> list[Track]:
    return tracks(FORMS, choruses=4)


def test_every_spread_lies_where_players_are(played: list[Track]) -> None:
    assert len(played) >= 60
    assert not outside(played)


def test_tracks_at_one_tempo_swing_differently(played: list[Track]) -> None:
    assert 0.06 <= ride_between(played) <= 0.15  # JTD: about 10 % between quartiles


def test_a_band_without_variety_would_be_seen() -> None:
    """What is played for a learner, plain on purpose, lies outside what players do."""
    plain = [Track(1000 + n, TEMPOS[n % len(TEMPOS)], occasion="lesson") for n in range(6)]
    names = " ".join(outside(plain))
    assert "bass: distinct rhythms" in names
    assert "drums: distinct bars" in names
    assert "bass: chord tone on 1" in names
