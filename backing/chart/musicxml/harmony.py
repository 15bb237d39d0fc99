"""Chords as MusicXML says them: a root, a kind, degrees that differ from the kind, a bass.

Kinds and what they hold are those of the W3C's MusicXML 4.0 schema (simple type kind-value). Its
13ths hold the eleventh, which players leave out under a major third: such a chord is written as
the 13th without the 11, and read so whether or not the 11 is taken away.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from functools import lru_cache
from xml.etree.ElementTree import Element

from backing.chart.chord_symbol import read_symbol
from backing.chart.harmony import Chord, parse_chord
from backing.chart.musicxml.document import element
from backing.chart.pitch import Degree, PitchName, degrees
from backing.chart.quality import Degrees, Quality, quality_of
from backing.errors import ChordError, quoted

KINDS: dict[str, Degrees] = {
    "major": degrees("1 3 5"),
    "minor": degrees("1 b3 5"),
    "augmented": degrees("1 3 #5"),
    "diminished": degrees("1 b3 b5"),
    "dominant": degrees("1 3 5 b7"),
    "major-seventh": degrees("1 3 5 7"),
    "minor-seventh": degrees("1 b3 5 b7"),
    "diminished-seventh": degrees("1 b3 b5 bb7"),
    "augmented-seventh": degrees("1 3 #5 b7"),
    "half-diminished": degrees("1 b3 b5 b7"),
    "major-minor": degrees("1 b3 5 7"),
    "major-sixth": degrees("1 3 5 6"),
    "minor-sixth": degrees("1 b3 5 6"),
    "dominant-ninth": degrees("1 3 5 b7 9"),
    "major-ninth": degrees("1 3 5 7 9"),
    "minor-ninth": degrees("1 b3 5 b7 9"),
    "dominant-11th": degrees("1 3 5 b7 9 11"),
    "major-11th": degrees("1 3 5 7 9 11"),
    "minor-11th": degrees("1 b3 5 b7 9 11"),
    "dominant-13th": degrees("1 3 5 b7 9 11 13"),
    "major-13th": degrees("1 3 5 7 9 11 13"),
    "minor-13th": degrees("1 b3 5 b7 9 11 13"),
    "suspended-second": degrees("1 2 5"),
    "suspended-fourth": degrees("1 4 5"),
    "power": degrees("1 5"),
}
FUNCTIONS = {
    "Neapolitan": "major", "Italian": "dominant", "German": "dominant",
    "French": "dominant", "Tristan": "half-diminished", "augmented-major-seventh": "major-seventh",
}  # fmt: skip
"""Kinds that say a function -> the kind that sounds so (sixth chords as the dominants they spell);
the last is music21's."""
_SHARPENED = {"French": Degree(5, -1), "augmented-major-seventh": Degree(5, 1)}
_DOMINANT_SCALE = {Degree(7): Degree(7, -1)}
"""An added seventh is counted from the minor one (schema, complex type degree-alter)."""
_ELEVENTH = Degree(11)
_THIRTEENTHS = ("dominant-13th", "major-13th")
_NO_CHORD = "N.C."
_DEGREES = tuple(map(str, range(1, 14)))
# decimals of the schema, quarter tones and all
_ALTER = re.compile(r"[+-]?(?:2(?:\.0{0,9})?|[01](?:\.[0-9]{0,9})?)")


def harmony_element(chord: Chord | None) -> Element:
    """The ``harmony`` element of a chord; of N.C. where there is none."""
    kind, changes = _kind(chord.quality) if chord else ("none", ())
    said = element("kind", text=_suffix(chord) if chord else _NO_CHORD)
    said.text = kind
    root = _name("root", chord.root if chord else PitchName("C"))
    if chord is None:
        root[0].set("text", "")
    return element(
        "harmony",
        root,
        said,
        _name("bass", chord.bass) if chord and chord.bass else None,
        *(
            element(
                "degree",
                ("degree-value", degree.number),
                ("degree-alter", alter),
                ("degree-type", change),
                print_object="no",
            )
            for change, degree, alter in changes
        ),
    )


def _name(tag: str, name: PitchName) -> Element:
    alter = (f"{tag}-alter", name.alter) if name.alter else None
    return element(tag, (f"{tag}-step", name.letter), alter)


def _suffix(chord: Chord) -> str:
    """The text between root and bass, as written."""
    return read_symbol(chord.text).suffix if chord.text else chord.quality.symbol


Alteration = tuple[str, Degree, int]
"""A degree element: add, alter or subtract, the degree, and its degree-alter."""


@lru_cache(maxsize=1024)
def _kind(quality: Quality) -> tuple[str, tuple[Alteration, ...]]:
    """The kind that needs the fewest degrees, and those; a seventh is never added to one.

    Programs differ in whether an added seventh is minor, as the schema has it, or major.
    """
    found = [(name, _differences(tones, quality.degrees)) for name, tones in KINDS.items()]
    named = quality.name.partition("(")[0]
    return min(found, key=lambda pair: (_adds_seventh(pair[1]), len(pair[1]), pair[0] != named))


def _adds_seventh(changes: Iterable[Alteration]) -> bool:
    return any(change == "add" and degree.number == 7 for change, degree, _ in changes)


def _differences(kind: Degrees, wanted: Degrees) -> tuple[Alteration, ...]:
    missing = [degree for degree in kind if degree not in wanted]
    changes: list[Alteration] = []
    for degree in wanted:
        if degree in kind:
            continue
        plain = next((each for each in missing if each.number == degree.number), None)
        if plain is not None:
            missing.remove(plain)
            changes.append(("alter", degree, degree.alter - plain.alter))
        else:
            counted = _DOMINANT_SCALE.get(Degree(degree.number), Degree(degree.number))
            changes.append(("add", degree, degree.alter - counted.alter))
    return (*changes, *(("subtract", degree, 0) for degree in missing))


def chord_of(harmony: Element) -> Chord | None:
    """The chord a ``harmony`` element means, spelled as its text has it; None for N.C.

    Raises ChordError where it has no root, or no chord symbol could say it.
    """
    kind = harmony.find("kind")
    value = (kind.text or "").strip() if kind is not None else "major"
    if not value and kind is not None and not kind.get("text"):
        value = "major"
    if value == "none":
        return None
    root = _read_name(harmony.find("root"), "root")
    if root is None:
        raise ChordError("A chord has no root.", "Write chord symbols with note names.")
    bass = _read_name(harmony.find("bass"), "bass")
    written = (kind.get("text", "") if kind is not None else "").strip()
    functions = {name.lower(): name for name in FUNCTIONS}
    if function := functions.get(value.lower(), ""):
        tones = [_SHARPENED[function]] if function in _SHARPENED else []
        fifths = [Degree(5)] if tones else []
        kept = [tone for tone in KINDS[FUNCTIONS[function]] if tone not in fifths]
        suffix = quality_of([*kept, *tones]).symbol
        suffix = f"({suffix})" if suffix.startswith(("b", "#")) else suffix
    else:
        suffix = _best_suffix(value, written, harmony.findall("degree"))
    text = f"{root}{suffix}" + (f"/{bass}" if bass and bass != root else "")
    return parse_chord(text)


def _read_name(named: Element | None, tag: str) -> PitchName | None:
    if named is None or named.find(f"{tag}-step") is None:
        return None
    letter = (named.findtext(f"{tag}-step") or "").strip()
    alter = _number(named.findtext(f"{tag}-alter"))
    if letter not in tuple("ABCDEFG"):
        raise ChordError(f"{quoted(letter)} isn't a note name.", "Write A to G.")
    return PitchName(letter, alter)


def _number(text: str | None) -> int:
    """The semitones of an alteration. Raises ChordError for what no chord symbol could say."""
    plain = (text or "0").strip()
    if not _ALTER.fullmatch(plain):
        cause = f"A chord is altered by {quoted(plain)}, which no symbol says."
        raise ChordError(cause, "Write -2 to 2, for two flats to two sharps.")
    return round(float(plain))


def _best_suffix(kind: str, written: str, elements: Iterable[Element]) -> str:
    """The text a player saw where it says what the kind says, else our own symbol for it."""
    changes = list(map(_read_degree, elements))
    if kind not in KINDS:
        if not written or _quality_of_suffix(written) is None:
            raise ChordError(f'No lead sheet has the kind "{kind}".', "Write its symbol.")
        return written
    tones = list(KINDS[kind])
    if kind in _THIRTEENTHS and all(degree != _ELEVENTH for _, degree, _ in changes):
        tones.remove(_ELEVENTH)
    meant = quality_of(_changed(tones, changes))
    offered = [written, written + "".join(f"({_as_text(change)})" for change in changes)]
    for suffix in offered if written else ():
        if _quality_of_suffix(suffix) == meant:
            return suffix
    told = _quality_of_suffix(written) if written and not changes else None
    if told is not None and told.family == meant.family and set(meant.core) <= set(told.degrees):
        return written  # "7alt" or "13" over a bare dominant: the text says more
    if told is not None and told.name == "altered" and meant.family == "dominant":
        return written
    return meant.symbol if not meant.symbol.startswith(("b", "#")) else f"({meant.symbol})"


def _quality_of_suffix(suffix: str) -> Quality | None:
    try:
        return parse_chord(f"C{suffix}").quality
    except ChordError:
        return None


def _read_degree(told: Element) -> Alteration:
    value = (told.findtext("degree-value") or "").strip()
    if value not in _DEGREES:
        raise ChordError(f"A chord has no degree {quoted(value)}.", "Write 2 to 13.")
    alter = _number(told.findtext("degree-alter"))
    return (told.findtext("degree-type") or "add").strip(), Degree(int(value)), alter


def _changed(tones: list[Degree], changes: Iterable[Alteration]) -> list[Degree]:
    """The tones after degree elements, one by one."""
    for change, degree, alter in changes:
        here = [tone for tone in tones if tone.number == degree.number]
        # some programs add a flat fifth and mean that the fifth is flat
        altered = change == "alter" or (change == "add" and alter and here == [Degree(5)])
        if change == "subtract" or altered:
            tones = [tone for tone in tones if tone not in here]
        if altered and here:
            tones.append(Degree(degree.number, here[0].alter + alter))
        elif change != "subtract":
            counted = _DOMINANT_SCALE.get(degree, degree)
            tones.append(Degree(degree.number, counted.alter + alter))
    return tones


def _as_text(change: Alteration) -> str:
    what, degree, alter = change
    if what == "subtract":
        return f"no{degree.number}"
    text = str(Degree(degree.number, alter))
    return text if alter else f"add{text}"
