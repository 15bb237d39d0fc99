"""Feels as data: all of them load, and a mistake in a file is pointed at."""

from __future__ import annotations

import re
from fractions import Fraction
from pathlib import Path

import pytest

from backing.chart.bar import Meter
from backing.combo.bass.style import read_bass_style
from backing.combo.drums import style as drum_style
from backing.combo.feel_file import FEELS, READERS, feel_names, load_feel, parse_feel
from backing.combo.plan import feel_of
from backing.errors import FeelError

SWING = """name = "mine"
sentence = "A test."
meters = ["4/4"]

[time]
swing = "ride"

[time.lateness_ms]
bass = [5, 3]

[drums]
ride = [
  {ride = "1 2> 3 4>", weight = 3},
  {ride = "1 2> (2&) 3 4> (4&)"},
]
"""


@pytest.mark.parametrize("name", feel_names())
def test_every_feel_that_is_shipped_loads(name: str) -> None:
    feel = load_feel(name)
    assert feel.name == name
    assert feel.sentence.endswith(".")
    assert feel.meters
    style = drum_style.read_drum_style(feel)
    assert style.layers["ride"]
    assert style.layers["fills"]
    assert style.layers["setups"]
    for meter in feel.meters:
        upper, lower = map(int, meter.split("/"))
        fitted = drum_style.phrases(style, "ride", Meter(upper, lower))
        assert all(phrase.bars[0] for phrase in fitted)


@pytest.mark.parametrize("name", feel_names())
def test_lateness_stays_within_what_is_heard_as_together(name: str) -> None:
    """Bass 0 to +12 ms, comping to +25, hi-hat foot -20 to -5: from Cheston et al. 2024 and
    Hofmann et al. 2017; spreads at most 20."""
    feel = load_feel(name)
    bounds = {"bass": (0, 12), "comp": (0, 25), "hihat_foot": (-20, -5), "ride": (0, 0)}
    for player, (low, high) in bounds.items():
        mean, spread = feel.late(player)
        assert low <= mean <= high
        assert 0 <= spread <= 20


@pytest.mark.parametrize(
    ("name", "meter", "found"),
    [
        ("swing", Meter(3, 4), "waltz"),
        ("swing", Meter(5, 4), "five"),
        ("swing", Meter(12, 8), "blues12"),
        ("swing", Meter(7, 4), "swing"),
        ("waltz", Meter(4, 4), "swing"),
        ("five", Meter(3, 4), "waltz"),
        ("bossa", Meter(3, 4), "bossa"),
    ],
)
def test_a_swing_feel_finds_its_relative_in_another_meter(
    name: str, meter: Meter, found: str
) -> None:
    assert feel_of(name, meter).name == found


def test_a_fixed_swing_ratio_is_kept_at_every_tempo() -> None:
    feel = parse_feel(SWING.replace('"ride"\n', "1.5\n", 1), "mine.toml")
    assert {feel.ratio(Fraction(tempo)) for tempo in (60, 120, 300)} == {Fraction(3, 2)}


def test_the_ride_ratio_goes_with_the_tempo() -> None:
    feel = parse_feel(SWING, "mine.toml")
    assert feel.ratio(Fraction(120)) > feel.ratio(Fraction(240)) > 1


def test_a_feel_of_the_users_own(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_text(SWING, "utf-8")
    assert load_feel(str(path)).name == "mine"


@pytest.mark.parametrize(
    ("name", "message"),
    [
        ("swign", r'no feel called "swign"\. Did you mean "swing"\? Known feels: ballad'),
        ("nowhere.toml", r"^There is no file nowhere\.toml\."),
    ],
)
def test_a_feel_that_is_not_there(name: str, message: str) -> None:
    with pytest.raises(FeelError, match=message):
        load_feel(name)


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ('meters = ["4/4"]', 'meters = "4/4"', r'^mine\.toml:3: meters is "4/4"\. Write a list'),
        ('meters = ["4/4"]', "meters = []", r"^mine\.toml:3: meters is \[\]\. Write one or more"),
        ('["4/4"]', '["4/4", "4/5"]', r'^mine\.toml:3: meters is \["4/4", "4/5"\]\. Write one or'),
        ('name = "mine"\n', "", r"^mine\.toml:1: name is missing\. Add name = "),
        ('swing = "ride"', "swing = 9", r"^mine\.toml:6: time\.swing is 9\. Write a number from 1"),
        (
            'swing = "ride"',
            'swings = "ride"',
            r':6: time\.swings is not known\. Did you mean "swing"',
        ),
        ("bass = [5, 3]", "bass = [5]", r":9: time\.lateness_ms\.bass is \[5\]\. Write mean and"),
        (
            "bass = [5, 3]",
            "comping = [5, 3]",
            r':9: .*comping is not known\. Did you mean "comp"\?',
        ),
        ("[drums]", "[comping]", r':11: comping is not known\. Did you mean "comp"\?'),
        ("bass = [5, 3]", "bass = [99, 3]", r":9: time\.lateness_ms\.bass is \[99, 3\]"),
        ("[drums]", "[drum]", r':11: drum is not known\. Did you mean "drums"\?'),
        ("[drums]", "[drums", r"^mine\.toml:11: Expected \'\]\'"),
    ],
)
def test_a_mistake_in_the_time_is_pointed_at(old: str, new: str, message: str) -> None:
    with pytest.raises(FeelError) as error:
        parse_feel(SWING.replace(old, new, 1), "mine.toml")
    assert re.search(message, f"{error.value.cause} {error.value.cure}")


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        (
            "weight = 3",
            "wait = 3",
            r'^mine\.toml:13: drums\.ride\.wait is not known\. Did you mean "weight"',
        ),
        ("weight = 3", "weight = -1", r":13: drums\.ride\.weight is -1\. Write a number from 0"),
        (
            '"1 2> 3 4>"',
            '"1 2> 3 5"',
            r":13: drums\.ride\.ride .*\"5\", which is outside",
        ),
        ('"1 2> 3 4>"', '"1 x"', r':13: drums\.ride\.ride has "x", which isn\'t a stroke'),
        ('(4&)"},', '(4&", beats = 4},', r':14: drums\.ride\.ride has "\(4&", which isn\'t'),
        ('(4&)"},', '(4&)", cow = "1"},', r":14: drums\.ride\.cow is not known"),
        ("[drums]", '[drums]\nkit = "tin"', r':12: drums\.kit is "tin"\. Write jazz or brush'),
        (
            "[drums]",
            "[drums]\nlevels = {cow = [1, 2, 3]}",
            r":12: drums\.levels\.cow isn't a",
        ),
        ("[drums]", "[drums]\nlevels = {ride = [9, 2]}", r":12: drums\.levels\.ride is \[9, 2\]"),
        ("[drums]", '[drums]\nlike = "two"', r':12: drums\.like is "two", which is like another'),
        ("[drums]", "[drums]\npulse = 3", r":12: drums\.pulse is 3"),
    ],
)
def test_a_mistake_in_the_drums_is_pointed_at(old: str, new: str, message: str) -> None:
    feel = parse_feel(SWING.replace(old, new, 1), "mine.toml")
    with pytest.raises(FeelError) as error:
        drum_style.read_drum_style(feel)
    assert re.search(message, f"{error.value.cause} {error.value.cure}")


def test_an_older_way_to_write_a_stroke_is_answered_with_the_new_one() -> None:
    old = SWING.replace('"1 2> 3 4>"', '"1 2>?60@90-200 3 4>"', 1)
    with pytest.raises(FeelError) as error:
        drum_style.read_drum_style(parse_feel(old, "mine.toml"))
    cause = 'drums.ride.ride has "2>?60@90-200", which is an older way to write a stroke.'
    assert str(error.value).splitlines() == [
        f"mine.toml:13:14: {cause}",
        '    {ride = "1 2>?60@90-200 3 4>", weight = 3},',
        "               ^^^^^^^^^^^^",
        "  Write 2>:60%:90-200bpm.",
    ]


def test_what_is_left_out_is_taken_from_the_feel_it_is_like() -> None:
    feel = parse_feel(SWING.replace("[drums]", '[drums]\nlike = "swing"', 1), "mine.toml")
    mine, other = drum_style.read_drum_style(feel), drum_style.read_drum_style(load_feel("swing"))
    assert mine.layers["fills"] == other.layers["fills"]
    assert len(mine.layers["ride"]) == 2
    assert (mine.kit, mine.top) == (other.kit, other.top)


def test_of_several_equal_keys_the_wrong_one_is_pointed_at() -> None:
    source = SWING + '\n[[drums.fills]]\nsnare = "1"\n\n[[drums.fills]]\nsnare = "9"\n'
    with pytest.raises(FeelError, match=r':21:10: drums\.fills\.snare has "9"'):
        drum_style.read_drum_style(parse_feel(source, "mine.toml"))


def test_a_feel_takes_what_it_leaves_out_from_another() -> None:
    mine = parse_feel('name = "m"\nsentence = "s"\nlike = "bossa"\n[bass]\nroots = 1\n', "m.toml")
    bossa = load_feel("bossa")
    assert mine.ratio(Fraction(120)) == bossa.ratio(Fraction(120)) == 1
    assert mine.root.values["comp"] == bossa.root.values["comp"]
    assert mine.root.values["bass"] == {"roots": 1}
    with pytest.raises(FeelError, match=r'm\.toml:3:1: like is "bosa"'):
        parse_feel('name = "m"\nsentence = "s"\nlike = "bosa"\n', "m.toml")


def test_the_feel_in_the_readme_of_the_feels_can_be_played() -> None:
    text = (FEELS / "README.md").read_text("utf-8")
    source = text.partition("```toml\n")[2].partition("```")[0]
    feel = parse_feel(source, "mine.toml")
    assert drum_style.read_drum_style(feel).layers["comments"][0].weight == 3
    assert read_bass_style(feel).roots == 0.9
    keys = {key for player in (*READERS, "time") for key in load_feel("swing").root.values[player]}
    assert not [key for key in keys if f"`{key}`" not in text]
    assert not [voice for voice in drum_style.VOICES if voice not in text]
