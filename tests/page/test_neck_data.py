"""The page's neck: every path is the one that the hand takes in that key and position."""

from __future__ import annotations

from itertools import product

import pytest

from backing.chart.text.tune_file import read_file
from backing.combo.band import Band
from backing.combo.plan import plan_of_bars
from backing.neck.fingerboard import make_fingerboard
from backing.neck.path import best_position, path_of
from backing.neck.phrase import read_neck
from backing.page.data import KEYS, _in_key
from backing.page.neck_data import SIGNS, neck_data
from backing.page.score import make_score
from tests.page.conftest import ROOT

NECKS = {
    "guitar": ("standard", 22),
    "short": ("standard", 12),
    "drop-d": ("drop-d", 24),
    "bass": ("bass", 20),
}


@pytest.mark.parametrize("neck", NECKS)
@pytest.mark.parametrize("tune", ["corner-booth", "paper-route-blues", "open-water"])
def test_a_path_that_moves_with_the_key_is_the_path_of_that_key(tune: str, neck: str) -> None:
    form, board = read_file(ROOT / f"tunes/{tune}.tune"), make_fingerboard(*NECKS[neck])
    keys = [_in_key(form, semitones).played("solos") for semitones in KEYS]
    data = neck_data([[bars] for bars in keys], KEYS.index(0), board)
    assert data is not None
    for (bars, numbers), at in product(
        zip(keys, data["paths"], strict=True), range(len(data["positions"]))
    ):
        path = path_of(plan_of_bars(bars), board, data["positions"][at])
        for step, number in zip(path.steps, numbers[at], strict=True):
            tones = (step.shape.tones, step.shape.lighter)
            assert data["shapes"][number] == " ".join(
                "".join(
                    f"{tone.place.string}{SIGNS[tone.place.fret]}"
                    f"{SIGNS[(tone.pitch - step.shape.chord.root.pitch_class) % 12]}{tone.finger}"
                    for tone in group
                )
                for group in tones
                if group
            )


@pytest.mark.parametrize("neck", ["standard", "bass", "ukulele", "left-handed"])
@pytest.mark.parametrize("tune", ["corner-booth", "paper-route-blues", "low-tide-ferry"])
def test_the_page_opens_where_sheets_and_lines_lie(tune: str, neck: str) -> None:
    form, board = read_file(ROOT / f"tunes/{tune}.tune"), read_neck(neck)
    data = neck_data([(form.played("solos"),)], 0, board)
    assert data is not None
    opens = data["positions"][data["best"]]
    assert opens == best_position(form.played("solos"), board).path.position


@pytest.mark.parametrize("tune", ["corner-booth", "last-train-but-one", "lanterns-on-mill-street"])
def test_around_the_chorus_every_chord_has_its_own_shape(tune: str) -> None:
    """In the head and the last head, closing chord and all, a shape has the tones of its chord."""
    form, board = read_file(ROOT / f"tunes/{tune}.tune"), make_fingerboard()
    score = make_score(form, Band())
    keys = [score.sides_in(_in_key(form, semitones)) for semitones in KEYS]
    data = neck_data(keys, KEYS.index(0), board)
    assert data is not None
    for (sides, paths), position in product(zip(keys, data["paths"], strict=True), (1, 5, 9)):
        chords = [span.chord for bars in sides for span in plan_of_bars(bars).spans if span.chord]
        path = paths[data["positions"].index(position)]
        numbers = [path[at] for at in data["order"]]
        assert len(numbers) == len(chords)
        for chord, number in zip(chords, numbers, strict=True):
            root = chord.sounding.root.pitch_class
            tones = data["shapes"][number].replace(" ", "")
            for string, fret, above, _ in zip(*[iter(tones)] * 4, strict=True):
                pitch = data["strings"][int(string) - 1] + SIGNS.index(fret)
                assert (pitch - root) % 12 == SIGNS.index(above)
                assert chord.sounding.name_of(pitch % 12) is not None
