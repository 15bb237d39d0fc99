"""Every mistake a tune file can hold: where it is pointed at, what is said of it."""

from __future__ import annotations

import contextlib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from backing.chart.text.tune_file import read
from backing.errors import Problem, TuneError
from tests.strategies import tune_texts

# One mistake each: the text, the culprit as the caret marks it, parts of the cause and the cure.
# "«»" around the culprit are taken out before reading.
ONE_MISTAKE = [
    # headers
    ("key: «H»\n| C |", "German name", "Write B"),
    ("key: C «lydain»\n| C |", "isn't a mode", "C dorian"),
    ("«»| C |", "No key is given", "key: G minor"),
    ("«»", "no bars", "key: F"),
    ("key: C\n| C |\nlay out 1: «paino»", "Nobody in the band", 'Did you mean "comp"?'),
    ("key: C\n«metre»: 4/4\n| C |", "isn't a line of a tune file", 'Did you mean "meter"?'),
    ("key: C\n«metre»: 4/4\n| C |", "isn't a line of a tune file", "title, by, key"),
    ("key: C\n«key: D»\n| C |", "is already on line 1", "Keep one"),
    ("«key:»\n| C |", "Nothing follows", "delete the line"),
    ("key: C\n«title:»\n| C |", "Nothing follows", "delete the line"),
    ("tempo: «0»\nkey: C\n| C |", "cannot play at 0 bpm", "20 to 400"),
    ("key: C\ntempo: «5000»\n| C |", "cannot play at 5000 bpm", "20 to 400"),
    ("key: C\ntempo: «19.9»\n| C |", "cannot play at 19.9 bpm", "20 to 400"),
    ("key: C\ntempo: «fast»\n| C |", '"fast" isn\'t a tempo', "tempo: 132"),
    ("key: C\ntempo: «1/0»\n| C |", "isn't a tempo", "tempo: 132"),
    ("key: C\ntempo: «-120»\n| C |", "isn't a tempo", "tempo: 132"),
    ("key: C\nmeter: «4/5»\n| C |", "isn't a meter the band plays", "6/8, 9/8, 12/8"),
    ("key: C\n«hits» 1: 1\n| C |", "before any section", "under the bars"),
    ("key: C\n«foo»\n| C |", "isn't a line of a tune file", "then come sections"),
    # orders
    ("key: C\nhead: A «B»\n| C |", "no section B", "The sections are: A"),
    ("key: C\nhead: «AA»\n| C |", "no section AA", "Write A A, with spaces"),
    ("key: C\nhead out: A «codda»\nsection A\n| C |\nsection coda\n| C |", "codda", "coda"),
    ("key: C\nhead: «A:1-3»\n| C | F |", "section A has 2 bars as played", "1 to 2"),
    ("key: C\nsolos: «A:2»\n| C |", "section A has 1 bar", "1 to 1"),
    ("key: C\nhead: «A:2-1»\n| C | F |", "runs backwards", "smaller number first"),
    ("key: C\nhead: «A:0-1»\n| C | F |", "counted from 1", "Count from 1"),
    ("key: C\nhead: A «&» A\n| C |", '"&" isn\'t a section', "spaces between"),
    ("key: C\nhead: «,»\n| C |", "No section is named", "A A B A"),
    ("key: C\nsection «intro»\n| C |", "no chorus to solo on", "section A"),
    ("key: C\nsection A\n| C |\n«nonsense»", "neither bars nor a cue", "Bars go between |"),
    # sections
    ("key: C\nsection «A»", "has no bars", "| Cm7 | F7 |"),
    ("key: C\nsection «A»\nsection B\n| C |", "Section A has no bars", "under its name"),
    ("key: C\nsection A = «B»", "copies section B, but there is none", "others are: none"),
    ("key: C\nsection A\n| C |\nsection B = «a»", "copies section a, but there is none", "are: A"),
    ("key: C\nsection A = «A»", "copies itself: A = A", "Write out the bars"),
    ("key: C\nsection A\n| C |\nsection «A»\n| F |", "already defined on line 2", "another name"),
    ("key: C\n| C |\nsection «A»\n| F |", "Line 2 begins a section without", "name that one too"),
    (
        "key: C\nsection A\n| C |\n"
        + "".join(f"section A{n + 1} = A{n or ''}\n" for n in range(50))
        + "section B = «A50»\nsection C = B",
        "Section B is derived through more than 50 others",
        "bars of one of them",
    ),
    ("key: C\nsection A\n| C |\nsection B = A\n«| F |»", "has the bars of A", "bars 7-8"),
    ("key: C\n«section 2»\n| C |", "needs a name", "section B2 = B"),
    ("key: C\n«section»\n| C |", "needs a name", "section A"),
    ("key: C\nsection A  «feeel»: two\n| C |", 'has no "feeel"', 'Did you mean "feel"?'),
    ("key: C\nsection A  tempo: «160»\n| C |", "a ratio to the tune's", "tempo: x4/3"),
    ("key: C\nsection A  tempo: «x9»\n| C |", "a ratio to the tune's", "x1/4 to x4"),
    ("key: C\nsection A  key: «Q»\n| C |", "isn't a note name", "A-G"),
    ("key: C\nsection A  meter: «3/5»\n| C |", "isn't a meter the band plays", "3/4"),
    ("key: C\nsection A «two»\n| C |", "does not belong after", "feel: two"),
    ("key: C\nsection A\n| C |\n«tempo»: 120", "belongs at the top", "after the section's name"),
    ("key: C\nsection A\n| C |\n«solos»: A A", "belongs at the top", "before the first section"),
    ("key: C\nsection A\n| C |\nsection B = A  meter: «3/4»", "meter of its base", "new section"),
    ("key: C\nsection A\n| C |\nsection «B» = A:1-2", "no A:1-2: section A has 1 bar", "1 to 1"),
    ("key: C\nsection A\n| C | F |\nsection «B» = A:2-1", "runs backwards", "smaller number first"),
    ("key: C\nsection A\n| C |\nsection B = A:«x»", "isn't bars of a section", "A:5-8"),
    # what stops the beat
    ("key: C\n| C |\nhold 1: «1 3»", "from one beat on", "hold 8: 1"),
    ("key: C\n| C |\nhold 1: «2&»", "on the beat", "hold 8: 1"),
    ("key: C\n| C |\n«hold 1:»", 'Nothing follows "hold"', "hold 8: 1"),
    ("key: C\n| C |\nhold 1: «5»", "no beat 5", "1 to 4"),
    ("key: C\n| C |\n«hold 2: 1»", "no bar 2 in this section", "1 to 1"),
    ("key: C\n| C |\n«rit» to 70%", "needs bar numbers", "rit 7:"),
    ("key: C\n| C |\n«rit.» 1: 70%", "neither bars nor a cue", 'Did you mean "rit"?'),
    ("key: C\n| C |\nrit 1: «to 20%»", "isn't a tempo to slow down to", "30% to 95%"),
    ("key: C\n| C |\nrit 1: «to 60 bpm»", "isn't a tempo to slow down to", "rit 7-8: to 70%"),
    # derived bars
    (
        "key: C\nsection A\n| C |\nsection B = A\nbars 1: «| F | G |»",
        "2 bars are written",
        "as many",
    ),
    ("key: C\nsection A\n| C |\nsection B = A\nbars 2: | «F» |", "no bar 2 in A", "1 to 1"),
    ("key: C\nsection A\n| C |\nsection B = A\nbars 1: | «%» |", "begins here", "chords out"),
    ("key: C\nsection A\n| C |\nsection B = A\n«bars»: | F |", "needs bar numbers", "bars 7:"),
    ("key: C\nsection A\n| C | F |\nsection B = A\nbars 1-2: | F | «|»", "empty", "Write its"),
    ("key: C\nsection A\n| C |\n«bars» 1: | F |", "not derived", "section A2 = A"),
    # chords and beats
    ("key: C\n| C | «X»m7 |", "isn't a note name", "A-G"),
    ("key: C\n| C | Cm7«q» |", "isn't part of a chord symbol", "Cm7b5"),
    ("key: C\n| «C F G» |", "Three chords do not divide the four beats", "C / F G | or | C F G /"),
    ("key: C\nmeter: 3/4\n| «C F» |", "Two chords do not divide", "| C / F | or | C F / |"),
    ("key: C\nmeter: 6/8\n| «C F G» |", "do not fit into two beats", "one chord a beat"),
    ("key: C\n| «C F G A D» |", "Five chords do not fit", "one chord a beat"),
    ("key: C\n| «C / F / G» |", "Five beats", "Remove one slash"),
    ("key: C\n| C |\n| «C / F» |", "Three beats", "Add one slash"),
    ("key: C\n| «/» C / / |", "not with a slash", "still sounding"),
    ("key: C\n| C «%» |", "cannot be read", "stand alone"),
    ("key: C\n| C | C | C | «%%%» |", "cannot be read", "write the chords"),
    # bar lines
    ("key: C\n| C | «F»", "bar line is missing after", "Begin and end"),
    ("key: C\n«C» | F |", "bar line is missing before", "Begin and end"),
    ("key: C\n| C |\n«F» G", "Bar lines are missing around F", "| Cm7 | F7 |"),
    ("key: C\n| C | «|» F |", "empty", "% or N.C."),
    ("key: C\n«|»\n| C |", "no bar", "between two bar lines"),
    # what other charts write
    ("«title» Low\nkey: C\n| C |", 'A colon is missing after "title"', "Write title:"),
    ("key: C\n«time»: 3/4\n| C |", "isn't a line of a tune file", 'Did you mean "meter"?'),
    ("key: C\n«Style»: swing\n| C |", "isn't a line of a tune file", 'Did you mean "feel"?'),
    ("key: C\n«[A]»\nsection A\n| C |", "begins with the word section", "Write section A "),
    ("key: C\nsection A\n| C |\n«B»:", "begins with the word section", "Write section B "),
    ("key: C\n| C |\n«D.C. al fine»", "is a jump", "head: A B A"),
    ("key: C\n| C | «D.C. al Coda» |", "is a jump", "head out: A B coda"),
    ("key: C\n| C | G7 | «D.S. al fine»", "is a jump", "head out: A B coda"),
    ("key: C\n|: C | G7 «[1]» | C :| [2] F |", "is not after a bar line", "| [1] C |"),
    ("key: C\n| C |\n«break» 1", "needs bar numbers", "break 7:"),
    ("key: C\n| C F «.» G |", '"." is neither a chord nor a beat', "a slash for each further beat"),
    ("key: C\n| F |\n| «1.» C |", '"1." isn\'t a chord', "| [1] Cm7 |"),
    # signs
    ("key: C\n| «%» | C |", "% repeats a bar", "chords out"),
    ("key: C\n| C | «%%» |", "%% repeats two bars", "chords out"),
    ("key: C\n| C |: «%» | F :|", "begins here", "chords out"),
    ("key: C\n| C | [1] «%» :| [2] C |", "begins here", "chords out"),
    ("key: C\n| C | F |\nsolos: | «%» |", "begins here", "chords out"),
    ("key: C\n«|:» C | F |", "not closed", "Write :|"),
    ("key: C\n«|:» C | F |: G :|", "not closed", "Write :|"),
    ("key: C\nsection A\n«|:» C |\nsection B\n| F :|", "not closed", "in the same section"),
    ("key: C\n| C | F «:| x1»", "1 times", "x2 to x64"),
    ("key: C\n| C | F «:| x100»", "100 times", "x2 to x64"),
    ("key: C\n| C | «[1]» F :|", "Ending 2 is missing", "Write [2]"),
    ("key: C\n| C | [1] F :| «[3]» G |", "Ending 2 is missing", "Write [2]"),
    ("key: C\n| C | [1] F | «[2]» G |", "has no :|", "Write :| where it ends"),
    ("key: C\n| C | [1] F :| «[2]» G :|", "not repeated", "Delete its :|"),
    ("key: C\n| C | [1,1] F :| «[2]» G |", "repeat a number", "[1,2]"),
    ("key: C\n| C | [1] F «:| x3» [2] G |", "how often", "Delete the count"),
    ("key: C\n| C | [1] F :| «[2-99]» G |", "more than 64 times", "[1,2]"),
    # other bars for soloing, pickups
    ("key: C\n| C |\nsolos: «| F | G |»", "solos line has 2 bars", "under each"),
    ("key: C\nsection A\n«solos»: | F |\n| C |", "no bars above", "under the bars"),
    ("key: C\n| C |\nsolos: | F |\n«solos»: | G |", "already have", "Keep one"),
    ("key: C\n| C |\nsolos: |«: F :»|", "cannot have repeats", "section itself"),
    ("key: C\npickup: | «G / / /» |\n| C |", "fills a bar of 4/4", "a whole bar"),
    ("key: C\npickup: «| G | C |»\n| C |", "A pickup is one bar", "pickup: | D7 |"),
    ("key: C\n| C |\n«pickup»: | G |", "before the first bar", "Move it above"),
    (
        "key: C\nsection intro\n| C |\nsection A\npickup: | «G7» |\n| C |",
        "would never sound: the head begins with intro",
        "bar before",
    ),
    # cues
    ("key: C\n| C |\n«hits 2: 1»", "no bar 2 in this section, which has 1 bar", "1 to 1"),
    ("key: C\n| C | F |\n«break 1-3: 1»", "no bar 3 in this section, which has 2 bars", "1 to 2"),
    ("key: C\n| C |\nhits 1: «5»", "no beat 5 in a bar of 4/4", "1 to 4"),
    ("key: C\n| C |\nhits 1: «0»", "no beat 0", "1 to 4"),
    ("key: C\n| C |\nhits 1: «1e»", "isn't a beat of 4/4", "1 and 1&"),
    ("key: C\nmeter: 6/8\n| C |\nhits 1: «2&»", "isn't a beat of 6/8", "1, 1.2 and 1.3"),
    ("key: C\nmeter: 6/8\n| C |\nhits 1: «3»", "no beat 3 in a bar of 6/8", "1 to 2"),
    ("key: C\n| C |\n«hits»: 1", "needs bar numbers", "hits 7:"),
    ("key: C\n| C |\n«hits 1:»", "Nothing follows", "hits 7: 1 2& 4&"),
    ("key: C\n| C |\n«lay out 1: and»", "Nothing follows", "lay out 1-4: comp bass"),
    ("key: C\n| C |\n«pedal 1:»", "Nothing follows", "pedal 1-8: G"),
    ("key: C\n| C |\n«stop-time 1: ,»", "Nothing follows", "stop-time 1-4: 1"),
    ("key: C\n| C |\n«push 1: by a quarter»", "Nothing follows", "push 5: 3"),
    ("key: C\n| C |\nhits «3-2»: 1", "run backwards", "smaller number"),
    ("key: C\n| C |\nhits «0»: 1", "counted from 1", "Count from 1"),
    ("key: C\n| C |\n«hist» 1: 1", "neither bars nor a cue", 'Did you mean "hits"?'),
    ("key: C\n| C |\ncenter 1: «X»", "isn't a", "A-G"),
    ("key: C\n| C |\n«center 1:»", "Nothing follows", "center 5-8: Ab"),
    ("key: C\n| C |\npedal 1: «X»", "isn't a note name", "A-G"),
    ("key: C\n| C |\npedal 1: G«m»", "note name", "A-G"),
    ("key: C\n| C |\n«push 1: 3»", "No chord is written on beat 3 of bar 1", "chords on 1"),
    ("key: C\n| C |\npush 1: «1 by a half»", "by half", "by a quarter"),
    ("key: C\n| C F / / |\n«push 1: 2 by a quarter»", "replaces the", "by an eighth"),
    ("key: C\n| C F / / |\n«late 1: 1 by a quarter»", "replaces the", "by an eighth"),
    # lengths
    ("key: C\nsection «A»\n" + "| C | C | C | C :| x64\n" * 4, "over 1,000", "fewer repeats"),
    ("key: C\n«head: A A»\n" + "| C | C | C | C :| x64\n" * 2, "over 1,000", "fewer repeats"),
    ("key: C\n«|» " + "C " * 500 + "|\n| C |", "longer than 1,000", "several lines"),
]


def problems(text: str) -> tuple[Problem, ...]:
    with pytest.raises(TuneError) as caught:
        read(text, "x.tune")
    return caught.value.problems


def marked(text: str) -> tuple[str, int, int, int]:
    """The text without its marks, and the line, column and length they marked."""
    before, rest = text.split("«")
    culprit, after = rest.split("»")
    line = before.count("\n") + 1
    column = len(before) - (before.rfind("\n") + 1) + 1
    return before + culprit + after, line, column, len(culprit)


@pytest.mark.parametrize(("text", "cause", "cure"), ONE_MISTAKE)
def test_a_mistake_is_pointed_at_once(text: str, cause: str, cure: str) -> None:
    plain, line, column, length = marked(text)
    found = problems(plain)
    assert len(found) == 1, [str(problem) for problem in found]
    span = found[0].span
    assert (span.line, span.column, span.length) == (line, column, length), str(found[0])
    assert cause in found[0].cause
    assert cure in found[0].cure
    assert found[0].cause.endswith(".")
    assert found[0].cure.endswith(".")
    assert found[0].text == plain.split("\n")[line - 1]


def test_all_mistakes_are_found_at_once_in_the_order_of_the_lines() -> None:
    found = problems(
        "titel: x\nkey: H\ntempo: 0\nsection A\n|: Cq | F G A | \nhits 9: 1\n"
        "section B = Z\nsection A\n| % |"
    )
    assert [(p.span.line, p.span.column) for p in found] == [
        (1, 1), (2, 6), (3, 8), (5, 1), (5, 5), (5, 9), (7, 13), (8, 9),
    ]  # fmt: skip
    assert {p.file for p in found} == {"x.tune"}


def test_a_problem_shows_its_line_with_a_caret_under_the_culprit() -> None:
    assert str(problems("key: C\n\t| C | Cm7q |")[0]) == (
        'x.tune:2:11: "q" isn\'t part of a chord symbol.\n'
        "  \t| C | Cm7q |\n"
        "  \t         ^\n"
        "  Write a quality after the root, such as Cm7, Cmaj7, C7(b9,#11), Cm7b5 or Csus4."
    )


def test_a_section_that_cannot_be_counted_causes_no_further_problems() -> None:
    text = "key: C\nhead: A:5 B:7\nsection A\n|: C |\nhits 9: 1\nsection B = A\nbars 8: | F |"
    assert [p.cause for p in problems(text)] == ["This repeat is not closed."]


def test_too_many_bars_and_lines_are_refused_at_once() -> None:
    long = problems("key: C\n" + "| C | F | G | C |\n" * 500)  # 2,000 bars
    assert [(p.span.line, p.cause) for p in long] == [(253, "Section A has over 1,000 bars.")]
    lines = problems("key: C\n| C |\n" + "\n" * 1_000_000)
    assert lines[0].cause == "This file has more than 5,000 lines."
    orders = problems("key: C\nhead: " + "A " * 400 + "\n| C | F | G |")
    assert [p.cause for p in orders] == [
        "There are over 1,000 bars in the head, more than can be played."
    ]


@settings(max_examples=100)
@given(tune_texts(), st.data())
def test_a_spoiled_tune_is_read_or_refused_but_never_breaks(
    written: tuple[str, object], data: st.DataObject
) -> None:
    text = written[0]
    for _ in range(data.draw(st.integers(1, 4))):
        start = data.draw(st.integers(0, len(text)))
        end = data.draw(st.integers(start, min(len(text), start + 8)))
        spoil = st.text("|:[]/%# =x-,.&\n12AbCm7", max_size=4)
        text = text[:start] + data.draw(spoil) + text[end:]
    try:
        form = read(text)
    except TuneError as error:
        str(error)
    else:
        form.played("head"), form.played("solos"), form.played("out")


@settings(max_examples=50)
@given(st.text(max_size=80))
def test_any_text_is_read_or_refused(text: str) -> None:
    for start in ("", "key: C\n| C |\n", "key: C\nsection A\n| C |\nsection B = A\nbars 1: "):
        with contextlib.suppress(TuneError):
            read(start + text)
