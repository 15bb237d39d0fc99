"""A chart out of an e-mail or a hasty hand, mended: what was understood, as a tune file has it.

Quotation marks of e-mails go, and so do letters' heads; small letters become roots; words such as
"e-flat" and "G moll" become names; chords without bar lines get them; beats that are missing get
slashes. What a chart cannot say for itself (its key) is guessed. Each change is told.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field

from backing.chart.bar import Meter
from backing.chart.harmony import parse_chord
from backing.chart.pitch import Key
from backing.chart.section import ROLES
from backing.chart.text.bar_line import lengths_without_slashes
from backing.chart.text.cue_line import cue_word
from backing.chart.text.header import HEADERS, METERS
from backing.chart.text.section_reader import bare_name
from backing.chart.text.source import MEANT, Piece, Source, Statement
from backing.errors import ChordError

_QUOTED = re.compile(r"^\s*(?:>\s?)+")
_LETTER = re.compile(r"(?i)(?:subject|from|to|date|sent|cc|re|on .* wrote)\s*:.*")
_HEADER = re.compile(rf"(?i)({'|'.join([*HEADERS, *MEANT])})\s*(?:\s(?:of|is)\s|[:=–-])\s*(.+)|"
                     r"(?i:(key|tempo|meter))\s+(.+)")  # fmt: skip
_NAMED_SECTION = re.compile(
    r"(?i)(?:section|part)\s+(\w+)\s*[:.]?|(\w+)\s+(?:section|part)\s*[:.]?"
)
_ROLE = re.compile(r"(?i)(intro|bridge|verse|chorus|coda|ending|tag|vamp)\s*[:.]?")
_PLAIN = str.maketrans({"\u00a0": " ", "\t": " ", "\u200b": "", "\ufeff": "", "│": "|", "¦": "|",
                        "’": "'", "“": '"', "”": '"', "—": "-"})  # fmt: skip
_MODES = {"moll": "minor", "dur": "major", "min.": "minor", "maj.": "major"}
_SPOKEN = re.compile(r"(?i)\b([a-g])[- ]?(flat|sharp)\b")
_BEAT = re.compile(r"[-–.·•_/]+")
_AGAIN = re.compile(r"\./\.|·/·|%|''|\"|x|–|-")
_BAR = re.compile(r"(:?\|{1,2}:?(?:\s*[x×]\s*\d+)?|:\|)")


@dataclass(slots=True)
class Mended:
    """The mended ``text``, and each change: line number, what stood there, what stands there."""

    text: str = ""
    changes: list[tuple[int, str, str]] = field(default_factory=list)


def mend(text: str) -> Mended:
    """What was understood of a chart. Its text may still hold mistakes that a reader finds."""
    mended = Mended()
    lines: list[str] = []
    meter = Meter(4, 4)
    for number, line in enumerate(Source(text, "").lines, 1):
        new = _line(line.translate(_PLAIN), meter)
        if new.startswith("meter:"):
            meter = next((m for m in METERS if str(m) == new[6:].strip()), meter)
        if new != line and (new or line.strip("> ")):
            mended.changes.append((number, line.strip(), new.strip()))
        lines.append(new)
    if not any(line.startswith("key:") for line in lines):
        key = _guessed_key(lines)
        lines.insert(next((n for n, line in enumerate(lines) if _is_body(line)), 0), f"key: {key}")
        mended.changes.append((0, "", f"key: {key}"))
    mended.text = "\n".join(lines).rstrip("\n") + "\n"
    return mended


def _is_body(line: str) -> bool:
    return line.startswith("section") or "|" in line


def _line(line: str, meter: Meter) -> str:
    plain = _QUOTED.sub("", line).strip()
    bare, note = Piece(plain, 1).without_note()
    if note is not None or not plain:
        return f"{_line(bare.text, meter)}  # {note}" if bare.text else plain
    kept = ("solos", "pickup", "bars", "section ")
    if cue_word(Statement.of(Piece(plain, 1))) or plain.startswith(kept):
        return plain
    if _LETTER.fullmatch(plain) and "|" not in plain:
        return f"# {plain}"
    if name := _section(plain):
        return f"section {name}"
    if "|" not in plain and (found := _HEADER.fullmatch(plain)):
        word, value = found[1] or found[3], found[2] or found[4]
        word = MEANT.get(word.lower(), word.lower())
        return f"{word}: {_key(value) if word == 'key' else value}"
    if "|" in plain:
        return _row(plain, meter)
    return _unbarred(plain)


def _section(line: str) -> str:
    if found := _NAMED_SECTION.fullmatch(line):
        return _capital(found[1] or found[2])
    if found := _ROLE.fullmatch(line):
        word = found[1].lower()
        return word if word in ROLES else word.capitalize()
    return (
        _capital(bare_name(Piece(line, 1))) if not _chord(line.strip("[]()")) or ":" in line else ""
    )


def _capital(name: str) -> str:
    return name[:1].upper() + name[1:] if len(name) == 1 else name


def _key(value: str) -> str:
    words = _names(value).split()
    words = [_MODES.get(word.lower(), word) for word in words]
    text = " ".join([_capital_root(words[0]), *words[1:]]) if words else value
    try:
        return str(Key.parse(text))
    except ChordError:
        return value


def _names(text: str) -> str:
    """Text in which "e-flat" and "F sharp" are Eb and F#."""
    signs = {"flat": "b", "sharp": "#"}
    return _SPOKEN.sub(lambda m: m[1].upper() + signs[m[2].lower()], text)


def _capital_root(word: str) -> str:
    return word[:1].upper() + word[1:] if word[:1] in "abcdefg" else word


def _chord(word: str) -> str:
    """The chord that a word means; "" for none."""
    bare = word.removeprefix("[").removesuffix("]") if word.startswith("[") else word
    bare = bare.rstrip(",;")
    bass = re.sub(r"/([a-g])(?=[b#]?$)", lambda m: f"/{m[1].upper()}", bare)
    for each in (bare, bass, _capital_root(bass)):
        try:
            parse_chord(each)
        except ChordError:
            continue
        return each
    return bare.upper() if bare.lower() in ("nc", "n.c.") else ""


def _row(line: str, meter: Meter) -> str:
    parts = _BAR.split(line)
    cells, signs = parts[::2], parts[1::2]
    if cells[0].strip():
        cells, signs = ["", *cells], ["|", *signs]
    if cells[-1].strip():
        cells, signs = [*cells, ""], [*signs, "|"]
    told = [_cell(cell, meter) for cell in cells[1:-1]]
    text = signs[0]
    for cell, sign in zip(told, signs[1:], strict=True):
        text += f" {cell} {sign}"
    return text


def _cell(cell: str, meter: Meter) -> str:
    mark = re.match(r"\s*(\[\s*\d[\d,\s-]*\])", cell)
    rest = cell[mark.end() :] if mark else cell
    lead = f"{mark[1]} " if mark else ""
    words = _words(rest)
    if not words or (len(words) == 1 and _AGAIN.fullmatch(words[0])):
        return f"{lead}{'%%' if rest.strip() == '%%' else '%'}"
    return lead + " ".join(_in_time(words, meter))


def _words(text: str) -> list[str]:
    """Chords and beats of a bar; a quality that stands apart is put to its root."""
    words: list[str] = []
    for word in _names(text).split():
        joined = words and not _BEAT.fullmatch(word) and not _chord(word)
        if joined and _chord(words[-1] + word):
            words[-1] = _chord(words[-1] + word)
        elif _BEAT.fullmatch(word) and words:
            words.append("/" * len(word))
        else:
            words.append(_chord(word) or word)
    return words


def _in_time(words: Sequence[str], meter: Meter) -> list[str]:
    """The words with slashes where the beats do not come out; the first chord has those left."""
    chords = [word for word in words if set(word) != {"/"}]
    slashes = sum(len(word) for word in words if set(word) == {"/"})
    left = meter.beats - len(chords) - slashes
    if slashes == 0 and lengths_without_slashes(len(chords), meter):
        return list(words)
    if left < 0:
        return list(chords) if lengths_without_slashes(len(chords), meter) else list(words)
    return [words[0], *"/" * left, *words[1:]] if slashes == 0 else [*words, *"/" * left]


def _unbarred(line: str) -> str:
    """A line of chords without bar lines: a bar for each; words of a letter as a note."""
    words = _words(line)
    if len(words) > 1 and all(_chord(word) or word == "%" for word in words):
        return f"| {' | '.join(words)} |"
    return f"# {line}" if len(words) > 1 and ":" not in line else line


def _guessed_key(lines: Sequence[str]) -> Key:
    """The key of the last chord, as tunes end in it (common practice, no source)."""
    found = [_chord(word) for line in lines if "|" in line for word in line.split() if word != "|"]
    last = next((parse_chord(text) for text in reversed(found) if text), None)
    if last is None:
        return Key.parse("C")
    if "minor" in last.family:
        return Key(last.root.within(-3, 8), "minor")
    return Key(last.root.within(-5, 6), "major")
