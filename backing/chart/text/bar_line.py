"""A line of bars: bar lines, repeats, endings, and the chords between them with their beats."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction

from backing.chart.bar import Change, Meter
from backing.chart.harmony import parse_chord
from backing.chart.section import Pickup, WrittenBar
from backing.chart.text.source import Piece, Source
from backing.errors import ChordError

_PLAIN_LINE = re.compile(r"\|")
# ``:|``, its count, and the bar line or the new repeat that may follow it; or one or two lines
_BAR_LINE = re.compile(r":\|{1,2}(?::|\s*[x×]\s*(?P<times>\d+)\b)?(?:\s*\|{1,2}:?)?|\|{1,2}:?")
_ENDING = re.compile(r"\[\s*(?P<passes>\d[\d\s,.–-]*)\]\s*")
# a chord, with alterations in parentheses: C7(b9 #11), or apart from it: C7 (b9)
_WORD = re.compile(r"[^\s(](?:\([^()]*\)|\S)*(?:\s+\([^()]*\)\S*)*|\S+")
# D.C. and its kin, to the end of their bar; what follows them has no bar line of its own
_JUMP = re.compile(
    r"(?<![\w/])(?P<sign>(?:d\.\s?[cs]\b|(?:da capo|dal segno|to coda|fine)\b)[^|]*)(?:\|\s*$)?",
    re.IGNORECASE,
)
_HELD = re.compile(r"[.·•_–-]+")
_BARE_ENDING = re.compile(r"(\d)[.)]?")
_NO_CHORD = ("n.c.", "nc", "n.c")
_NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
MOST_PASSES = 64

Changes = tuple[Change, ...]


@dataclass(frozen=True, slots=True)
class ReadBar:
    """A bar with the text of its bar lines, ``left`` and ``right``, and of its ending, ``mark``."""

    bar: WrittenBar
    left: Piece
    right: Piece
    mark: Piece
    pickup: Pickup | None = None


def read_row(line: Piece, meter: Meter, source: Source, *, first: bool = False) -> list[ReadBar]:
    """Read a line of bars. The ``first`` line of a tune may begin with a short bar, a pickup."""
    cells: list[ReadBar] = []
    for left, text, right in _between(_without_jumps(line, source), _BAR_LINE, source):
        mark, content = _ending(text)
        if late := None if mark.text else _ENDING.search(content.text):
            mark = content.group(late)
            cure = f"An ending begins its bar: | {mark} C |."
            source.problem(mark, f'"{mark}" is not after a bar line.', cure)
            content = content.cut(0, late.start()).strip()
        pickup = None
        if not content.text:
            where = right if right.text else left
            source.problem(where, "This bar is empty.", "Write its chord, % or N.C.")
        elif first and not cells:
            pickup = _short_bar(content, meter, source)
        sign = content.text if content.text in ("%", "%%") else ""
        bar = WrittenBar(
            changes=() if sign or pickup else read_changes(content, meter, source),
            sign=sign,
            opens=left.text.endswith(":"),
            ending=_passes(mark, source),
            closes=_times(right, source),
            span=content.span,
        )
        cells.append(ReadBar(bar, left, right, mark, pickup))
    return cells


def refuse_jump(line: Piece, source: Source) -> bool:
    """Record a line that begins with D.C., D.S., to Coda or Fine as a mistake; False for others."""
    if jump := _JUMP.match(line.text):
        source.problem(line.group(jump, "sign"), *_jump(line.group(jump, "sign")))
    return jump is not None


def _jump(sign: Piece) -> tuple[str, str]:
    cause = f'"{sign}" is a jump, which a tune file does not have.'
    return cause, "Write the order at the top: head: A B A, and head out: A B coda if it differs."


def _without_jumps(line: Piece, source: Source) -> Piece:
    """The line with blanks for its jumps, each of which is a mistake."""
    for found in _JUMP.finditer(line.text):
        sign = line.group(found, "sign")
        source.problem(sign, *_jump(sign))
    blanks = _JUMP.sub(lambda found: " " * len(found[0]), line.text)
    return Piece(blanks, line.line, line.column)


def read_plain_row(
    line: Piece, meter: Meter, source: Source, *, empty: bool
) -> list[WrittenBar | None]:
    """Read bars without repeats; None where a bar is ``empty``, if it may be."""
    bars: list[WrittenBar | None] = []
    for left, text, right in _between(line, _PLAIN_LINE, source):
        if not text.text and empty:
            bars.append(None)
            continue
        where = text if text.text else (right if right.text else left)
        if not text.text:
            source.problem(where, "This bar is empty.", "Write its chord, % or N.C.")
        signs = text.text.startswith(":") or text.text.endswith(":") or _ENDING.match(text.text)
        if signs:
            cause = "This line cannot have repeats or endings."
            source.problem(where, cause, "Write them in the bars of the section itself.")
        sign = text.text if text.text in ("%", "%%") else ""
        changes = () if sign or signs else read_changes(text, meter, source)
        bars.append(WrittenBar(changes, sign, span=text.span))
    return bars


def read_pickup(line: Piece, meter: Meter, source: Source) -> Pickup | None:
    """Read the one short bar of a ``pickup:`` line: every chord and slash in it is a beat."""
    cells = list(_between(line, _PLAIN_LINE, source))
    if len(cells) != 1 or not cells[0][1].text:
        source.problem(line, "A pickup is one bar.", "Write it as pickup: | D7 |.")
        return None
    words = cells[0][1].find(_WORD)
    beats = sum(_beats(word) for word in words)
    if beats >= meter.beats:
        source.problem(
            cells[0][1],
            f"A pickup of {_plural(beats, 'beat')} fills a bar of {meter}.",
            "Write it as a whole bar; in a pickup every chord and slash is one beat.",
        )
        return None
    changes = _written_out(words, source)
    return Pickup(changes, Fraction(beats), cells[0][1].span)


def _between(
    line: Piece, pattern: re.Pattern[str], source: Source
) -> Iterator[tuple[Piece, Piece, Piece]]:
    """The stripped texts between bar lines, each with the bar lines around it."""
    lines = line.find(pattern)
    offsets = [piece.column - line.column for piece in lines]
    ends = [start + len(piece.text) for start, piece in zip(offsets, lines, strict=True)]
    before = line.cut(0, offsets[0] if offsets else None).strip()
    after = line.cut(ends[-1]).strip() if ends else before.cut(len(before.text))
    nothing = line.cut(0, 0)
    if before.text:
        cause = f'A bar line is missing before "{before.text}".'
        source.problem(before, cause, "Begin and end every line of bars with |.")
        yield nothing, before, lines[0] if lines else nothing
    for index in range(len(lines) - 1):
        yield lines[index], line.cut(ends[index], offsets[index + 1]).strip(), lines[index + 1]
    if after.text:
        cause = f'A bar line is missing after "{after.text}".'
        source.problem(after, cause, "Begin and end every line of bars with |.")
        yield lines[-1], after, nothing
    elif len(lines) == 1 and not before.text:
        source.problem(line, "This line has no bar.", "Write a chord between two bar lines.")


def _ending(text: Piece) -> tuple[Piece, Piece]:
    match = _ENDING.match(text.text)
    if match is None:
        return text.cut(0, 0), text
    return text.cut(0, match.end()).strip(), text.cut(match.end())


def _passes(mark: Piece, source: Source) -> tuple[int, ...]:
    """The numbers in an ending's mark: [1] [1,2] [1-3]."""
    passes: list[int] = []
    for first, last in re.findall(r"(\d+)(?:\s*[-–]\s*(\d+))?", mark.text):
        if len(first) > 2 or len(last) > 2 or int(last or first) > MOST_PASSES:
            cause = f"No repeat is played more than {MOST_PASSES} times."
            source.problem(mark, cause, "Write endings such as [1,2] and [3].")
            return (*passes, int(first[:2]))
        passes += range(int(first), int(last or first) + 1)
    return tuple(passes)


def _times(right: Piece, source: Source) -> int:
    """How often the repeat that ends at a bar line is played, 0 if none ends."""
    if not right.text.startswith(":"):
        return 0
    match = _BAR_LINE.fullmatch(right.text)
    times = match["times"] if match else None
    if times is None:
        return 2
    if len(times) > 2 or not 2 <= int(times) <= MOST_PASSES:
        cause = f"A repeat cannot be played {times} times."
        source.problem(right, cause, f"Write x2 to x{MOST_PASSES}.")
        return 2
    return int(times)


def read_changes(content: Piece, meter: Meter, source: Source) -> Changes:
    """Read the content of one whole bar; the beats must come out even."""
    words = content.find(_WORD)
    signs = [word for word in words if set(word.text) == {"%"}]
    if signs:
        source.problem(
            signs[0],
            f"{signs[0].text} cannot be read here.",
            "Let % (the bar before) or %% (two bars) stand alone in its bar, or write the chords.",
        )
        return ()
    if any(_is_slash(word) for word in words):
        beats = sum(_beats(word) for word in words)
        if beats != meter.beats:
            source.problem(content, *_wrong_count(beats, meter))
        return _written_out(words, source)
    lengths = lengths_without_slashes(len(words), meter)
    if lengths is None:
        if words:
            source.problem(content, *_uneven([word.text for word in words], meter))
        lengths = (1,) * len(words)
    onsets = [sum(lengths[:index]) for index in range(len(words))]
    return tuple(_change(word, onset, source) for word, onset in zip(words, onsets, strict=True))


def _short_bar(content: Piece, meter: Meter, source: Source) -> Pickup | None:
    """A bar with beats written out as a pickup, if it is short."""
    words = content.find(_WORD)
    beats = sum(_beats(word) for word in words)
    if beats >= meter.beats or not any(_is_slash(word) for word in words):
        return None
    return Pickup(_written_out(words, source), Fraction(beats), content.span)


def lengths_without_slashes(count: int, meter: Meter) -> tuple[int, ...] | None:
    """How many beats each of ``count`` chords gets in a bar; None if it does not come out even."""
    if count and meter.beats % count == 0:
        return (meter.beats // count,) * count
    return meter.groups if len(meter.groups) == count else None


def _written_out(words: Sequence[Piece], source: Source) -> Changes:
    changes: list[Change] = []
    beat = 0
    if words and _is_slash(words[0]):
        source.problem(
            words[0],
            "A bar begins with a chord, not with a slash.",
            "Write the chord that is still sounding, then the slashes.",
        )
    for word in words:
        if not _is_slash(word):
            changes.append(_change(word, beat, source))
        beat += _beats(word)
    return tuple(changes)


def _change(word: Piece, onset: int, source: Source) -> Change:
    if word.text.lower() in _NO_CHORD:
        return Change(Fraction(onset), None, span=word.span)
    chord = None
    try:
        chord = parse_chord(word.text)
    except ChordError as error:
        if said := _meant(word.text):
            source.problem(word, *said)
            return Change(Fraction(onset), None, span=word.span)
        source.refuse(word, error)
    return Change(Fraction(onset), chord, span=word.span)


def _meant(text: str) -> tuple[str, str] | None:
    """Cause and cure for what other charts write in a bar besides chords."""
    if _HELD.fullmatch(text):
        cure = "Write a slash for each further beat of a chord: | Cm7 / / F7 |."
        return f'"{text}" is neither a chord nor a beat.', cure
    if ending := _BARE_ENDING.fullmatch(text):
        return f'"{text}" isn\'t a chord.', f"Write an ending in brackets: | [{ending[1]}] Cm7 |."
    return None


def is_chord(word: Piece) -> bool:
    """Whether a word could stand in a bar."""
    try:
        return word.text.lower() in _NO_CHORD or parse_chord(word.text) is not None
    except ChordError:
        return False


def outside_bars(word: Piece) -> tuple[str, str]:
    """Cause and cure for a chord on a line without bar lines."""
    cause = f"Bar lines are missing around {word}."
    return cause, "Begin and end every line of bars with |, such as | Cm7 | F7 |."


def _is_slash(word: Piece) -> bool:
    return set(word.text) == {"/"}


def _beats(word: Piece) -> int:
    return len(word.text) if _is_slash(word) else 1


def _wrong_count(beats: int, meter: Meter) -> tuple[str, str]:
    cause = f"{_plural(beats, 'beat').capitalize()} are written out in a bar of {meter}."
    more = meter.beats - beats
    verb = "Add" if more > 0 else "Remove"
    return cause, f"{verb} {_plural(abs(more), 'slash', 'slashes')}: one sign for every beat."


def _uneven(words: list[str], meter: Meter) -> tuple[str, str]:
    """Cause and cure for chords that do not divide a bar; the cure shows both readings."""
    chords, beats = len(words), meter.beats
    if chords > beats:
        return (
            f"{_plural(chords, 'chord').capitalize()} do not fit into {_plural(beats, 'beat')}.",
            "Write at most one chord a beat; a cue such as push 1: 2 brings one forward.",
        )
    slashes = ["/"] * (beats - chords)
    first = " ".join([words[0], *slashes, *words[1:]])
    last = " ".join([*words, *slashes])
    count = _plural(chords, "chord").capitalize()
    cause = f"{count} do not divide the {_NUMBERS[beats]} beats of {meter} evenly."
    return cause, f"Write the beats out with slashes: | {first} | or | {last} |."


def _plural(count: int, one: str, many: str | None = None) -> str:
    number = _NUMBERS[count] if count < len(_NUMBERS) else str(count)
    return f"{number} {one if count == 1 else many or one + 's'}"
