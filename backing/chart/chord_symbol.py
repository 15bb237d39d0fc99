"""The grammar of chord symbols: a text becomes a root, degrees and a bass.

A symbol is read once, from left to right, into a draft; the degrees are then stacked from it.
Readings that differ between books are decided here, once:

- The longest root wins: Bb9 is B-flat nine; C(b9) is written with parentheses. Doubled signs
  before 5, 9, 11 or 13 are root and alteration: Bbb5 is B-flat with a flat fifth.
- A dash or plus straight after the root is the quality (C-9 minor nine, C+7 augmented seventh);
  after a number it alters (C7-9 is b9, C7+9 is #9). C-5, C+5 and C+11 alter the triad.
- C11 is a ninth chord with a suspended fourth; C13 leaves the eleventh out; minor chords keep it.
- A b9, #9 or b13 without seventh implies the dominant seventh (in a diminished chord the
  diminished one), unless "add" stands before it.
- C2 is an added ninth, C4 a suspended fourth, a triangle alone a major seventh.
- C7M is a major seventh, as is the raised seventh of Cm(#7) and Cm+7.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field

from backing.chart.pitch import Degree, PitchName, degrees, read_pitch_name
from backing.errors import ChordError

# Signs that look alike, character for character, so that offsets stay those of the text.
_SAME_SIGN = str.maketrans("♭♯−–‐△∆▵▲^º˚○Øφ∅⌀[]⁄⁺⁻⁰¹²³⁴⁵⁶⁷⁸⁹", "b#---ΔΔΔΔΔ°°°øøøø()/+-0123456789")
# Bbb5 and F##11: one sign belongs to the root, the other to the number.
_SHARED_SIGNS = re.compile(r"[A-G](b|#)\1(?=5|9|11|13)")
# A slash before a number or a quality only separates: C6/9, Cm/maj7, C7/b9.
_BASS = re.compile(r"/(?!\s*(?:\(|[b#+-]*\d|(?i:maj?|add|sus|no\d|omit|alt)|M|Δ|j))")
_QUALITY_SIGN = re.compile(r"\s*(?:(?P<min>-(?!5))|(?P<aug>\+(?!5|11)))")
_TOKEN = re.compile(
    r"""
      (?P<space>[\s,]+)
    | (?P<slash>/)
    | (?P<open>\()
    | (?P<close>\))
    | (?P<alt>(?i:alt(ered)?))
    | (?P<phrygian>(?i:phryg(ian)?))
    | (?P<sus>(?i:sus(pended)?)\s*(?P<suspended>24|42|4|2)?)
    | (?P<omit>(?i:omit|no)\s*(?P<omitted>1[13]|[135-79])(?i:rd|th)?)
    | (?P<add>(?i:add)\s*(?P<addsign>bb|maj(?=7)|[b\#+-])?(?P<added>1[13]|[2-79]))
    | (?P<half>(?i:half-?\s?dim(inished)?|hdim)|ø)
    | (?P<dim>(?i:dim(inished)?)|°|o(?!m))
    | (?P<aug>(?i:aug(mented)?))
    | (?P<dom>(?i:dom(inant)?))
    | (?P<maj>(?i:major|maj|ma(?!dd))|M(?!(?i:i|a))|j|Δ)
    | (?P<min>(?i:minor|min|mi)|m)
    | (?P<sixnine>6\s?[,/-]?\s?9)
    | (?P<alter>(?P<sign>bb|[b\#♮+-])(?P<altered>1[013]|[2-79]))
    | (?P<number>1[13]|[24-79])
    | (?P<plus>\+)
    | (?P<dash>-)
    """,
    re.VERBOSE,
)
_SIGNS = {"bb": -2, "b": -1, "-": -1, "♮": 0, "#": 1, "+": 1, None: 0}
# What an altered or added number means: the trade's names of the same tone.
_SAME_TONE = {2: 9, 4: 11, 10: 9}
_ALTERATIONS = set(degrees("b5 5 #5 b6 6 b7 7 b9 9 #9 11 #11 b13 13"))
_ALTERED = degrees("1 3 b5 #5 b7 b9 #9")
_PHRYGIAN = degrees("1 4 5 b7 b9")
_CURE = "Write a quality after the root, such as Cm7, Cmaj7, C7(b9,#11), Cm7b5 or Csus4."


@dataclass(frozen=True, slots=True)
class Symbol:
    """What a chord symbol says: ``suffix`` is its text between the root and the bass."""

    root: PitchName
    degrees: tuple[Degree, ...]
    bass: PitchName | None
    suffix: str


def read_symbol(text: str) -> Symbol:
    """Read a whole text as a chord symbol; degrees come in no particular order.

    Raises ChordError with the offsets of the culprit in ``text``.
    """
    plain = text.translate(_SAME_SIGN).rstrip()
    start = len(plain) - len(plain.lstrip())
    if start == len(plain):
        cure = "Write a root and a quality, such as Cm7."
        raise ChordError("A chord symbol is missing here.", cure, 0, len(text))
    if text[start] == "[":
        inside = text[start:].strip("[] ")
        cause = "A chord stands in brackets, which are for endings such as [1]."
        raise ChordError(cause, f"Write {inside or 'the chord'} without them.", start, len(text))
    root, after_root = _root(plain, start)
    slash = _BASS.search(plain, after_root)
    end = slash.start() if slash else len(plain)
    bass = _bass(plain, end) if slash else None
    draft = _SymbolReader(plain, after_root, end).read()
    return Symbol(root, draft.stacked(), bass, text[after_root:end].strip())


def _root(text: str, start: int) -> tuple[PitchName, int]:
    shared = _SHARED_SIGNS.match(text, start)
    if shared:
        return PitchName.parse(text[start : start + 2]), start + 2
    return read_pitch_name(text, start)


def _bass(text: str, slash: int) -> PitchName:
    start = slash + 1 + len(text[slash + 1 :]) - len(text[slash + 1 :].lstrip())
    if start >= len(text):
        cure = "Write the bass note after it, such as C/E, or delete the slash."
        raise ChordError("No bass note follows the slash.", cure, slash, slash + 1)
    bass, end = read_pitch_name(text, start)
    if end < len(text):
        cause = f'"{text[end:].strip()}" cannot follow the bass note {bass}.'
        raise ChordError(cause, f"End the symbol with /{bass}.", end, len(text))
    return bass


@dataclass(slots=True)
class _SymbolDraft:
    """What has been read of one symbol so far."""

    qualities: set[str] = field(default_factory=set)
    extension: int = 0  # 0 while no number has been read; 69 is six-nine
    suspended: str = ""
    altered: list[Degree] = field(default_factory=list)
    added: list[Degree] = field(default_factory=list)
    omitted: set[int] = field(default_factory=set)

    def stacked(self) -> tuple[Degree, ...]:
        """The degrees the symbol says."""
        tones = self._stack()
        for degree in self.altered:
            # an altered fifth, seventh or extension stands in place of the plain one
            plain = {Degree(degree.number), Degree(7, -1) if degree.number == 7 else degree}
            tones = [tone for tone in tones if tone not in plain] + [degree]
        if self._implies_seventh(tones):
            tones.append(Degree(7, -2 if "dim" in self.qualities else -1))
        if self.suspended:
            tones = [tone for tone in tones if tone.number != 3]
            tones += [Degree(int(number)) for number in self.suspended]
        tones += self.added
        return tuple(tone for tone in tones if tone.number not in self.omitted)

    def _stack(self) -> list[Degree]:
        if "alt" in self.qualities:
            return list(_ALTERED)
        if "phrygian" in self.qualities:
            return list(_PHRYGIAN)
        small = bool(self.qualities & {"min", "half", "dim"})
        tones = [Degree(1)]
        plain_eleventh = self.extension == 11 and not self.qualities - {"dom"}
        if self.extension != 5 and not plain_eleventh:
            tones.append(Degree(3, -1 if small else 0))
        flat_fifth = self.qualities & {"half", "dim"}
        tones.append(Degree(5, -1 if flat_fifth else 1 if "aug" in self.qualities else 0))
        seventh = self._seventh()
        return tones + ([seventh] if seventh else []) + self._extensions(small)

    def _seventh(self) -> Degree | None:
        major = "maj" in self.qualities
        unsaid = self.extension == 0 and (
            "half" in self.qualities
            or "triangle" in self.qualities
            or (major and bool(self.qualities & {"min", "dim"}))
            or "dom" in self.qualities
        )
        if not unsaid and self.extension not in (7, 9, 11, 13):
            return None
        if major:
            return Degree(7)
        return Degree(7, -2 if "dim" in self.qualities else -1)

    def _extensions(self, small: bool) -> list[Degree]:
        numbers = {2: [9], 6: [6], 69: [6, 9], 9: [9], 11: [9, 11], 13: [9, 13]}
        tones = [Degree(number) for number in numbers.get(self.extension, [])]
        return [*tones, Degree(11)] if small and self.extension == 13 else tones

    def _implies_seventh(self, tones: list[Degree]) -> bool:
        colors = {Degree(9, -1), Degree(9, 1), Degree(13, -1)}
        minor_or_major = self.qualities & {"min", "maj"}
        no_seventh = not any(tone.number in (6, 7) for tone in tones)
        return bool(colors & set(self.altered)) and no_seventh and not minor_or_major


class _SymbolReader:
    """Reads the part of a symbol between root and bass, token by token, into a draft."""

    def __init__(self, text: str, start: int, end: int) -> None:
        self.text, self.position, self.end = text, start, end
        self.draft = _SymbolDraft()
        self.previous = ""  # the kind of the token before
        self.parentheses: list[int] = []  # the offsets of those that are open

    def read(self) -> _SymbolDraft:
        """Read all of it. Raises ChordError at the first token that fits nothing."""
        sign = _QUALITY_SIGN.match(self.text, self.position, self.end)
        if sign:
            self._take(sign)
        while self.position < self.end:
            token = _TOKEN.match(self.text, self.position, self.end)
            if token is None:
                raise self._unknown()
            self._take(token)
        if self.parentheses:
            start = self.parentheses[0]
            cause = "This parenthesis is never closed."
            raise ChordError(cause, 'Write ")" at the end of it.', start, start + 1)
        return self.draft

    def _take(self, token: re.Match[str]) -> None:
        kind = str(token.lastgroup)  # the outermost group, since it closes last
        match kind:
            case "space" | "slash":
                pass
            case "open":
                self.parentheses.append(token.start())
            case "close":
                self._close(token)
            case "sus":
                self.draft.suspended += token["suspended"] or "4"
            case "omit":
                self.draft.omitted.add(int(token["omitted"]))
            case "add":
                self._add(token)
            case "sixnine" | "number":
                self._number(token)
            case "alter":
                self._alter(token)
            case "plus":  # C7+, Cmaj7+: the fifth is raised
                self.draft.altered.append(Degree(5, 1))
            case "dash":
                self._dash(token)
            case _:
                self._quality(token, kind)
        self.position = token.end()
        self.previous = kind

    def _unknown(self) -> ChordError:
        word = re.compile(r"[A-Za-z]+|.").match(self.text, self.position, self.end)
        found = word.group() if word else ""
        start = self.position
        cause = f'"{found}" isn\'t part of a chord symbol.'
        return ChordError(cause, _CURE, start, start + len(found))

    def _refuse(self, token: re.Match[str], cause: str, cure: str) -> ChordError:
        start = token.end() - len(token.group().lstrip())
        return ChordError(f'"{token.group().strip()}" {cause}', cure, start, token.end())

    def _close(self, token: re.Match[str]) -> None:
        if not self.parentheses:
            raise self._refuse(token, "closes a parenthesis that was never opened.", "Remove it.")
        if self.previous == "open":
            raise self._refuse(token, "closes an empty parenthesis.", "Remove both signs.")
        self.parentheses.pop()

    def _quality(self, token: re.Match[str], kind: str) -> None:
        if not self._fits(kind):
            cause = "cannot follow what comes before it."
            raise self._refuse(token, cause, "Write one quality, such as Cm7 or Cmaj7.")
        self.draft.qualities.add(kind)
        if token.group() == "Δ":
            self.draft.qualities.add("triangle")

    def _fits(self, kind: str) -> bool:
        """Whether a quality word may come here: once, and only in pairs that mean something."""
        present = self.draft.qualities - {"triangle"}
        if kind in present:
            return False
        partners = {
            "maj": {"min", "dim", "aug"},
            "aug": {"maj", "dom"},
            "alt": {"dom"},
            "min": set[str](),
        }
        if kind in ("min", "dim", "half", "dom", "phrygian") and self.draft.extension:
            return False
        return present <= partners.get(kind, set())

    def _add(self, token: re.Match[str]) -> None:
        if token["addsign"] == "maj":
            self.draft.added.append(Degree(7))
        else:
            self._add_tone(int(token["added"]), _SIGNS[token["addsign"]])

    def _add_tone(self, number: int, alter: int = 0) -> None:
        if number == 7 and not alter and "maj" not in self.draft.qualities:
            alter = -1
        self.draft.added.append(Degree(_SAME_TONE.get(number, number), alter))

    def _number(self, token: re.Match[str]) -> None:
        number = 69 if token.lastgroup == "sixnine" else int(token.group())
        after = self.previous
        loose = after in ("space", "slash", "open", "close", "alter", "sus", "add")
        color = number in (2, 4, 9, 11, 13)
        aside = after == "slash" or (self.parentheses and after in ("open", "space"))
        if not self.draft.extension and not (aside and color):
            self._extend(token, number)
        elif after == "maj" and number == 7:
            self._add_major_seventh()
        elif loose and (color or number == 6 or (number == 7 and self.draft.extension == 6)):
            self._add_tone(number)
        else:
            cause = "is a second number in this chord."
            cure = "Write one number, and other tones in parentheses, such as C7(13)."
            raise self._refuse(token, cause, cure)

    def _add_major_seventh(self) -> None:
        """Cm6(maj7) gains the seventh; in Cm9(maj7) "maj" has already changed it."""
        if self.draft.extension not in (7, 9, 11, 13):
            self.draft.added.append(Degree(7))

    def _extend(self, token: re.Match[str], number: int) -> None:
        if number == 5 and (self.draft.qualities or self.draft.suspended or self.draft.altered):
            raise self._refuse(token, "means nothing here.", "Leave it out: the fifth is in it.")
        if number == 4 and self.draft.qualities:
            self._add_tone(4)
        elif number == 4:
            self.draft.suspended = "4"
        else:
            self.draft.extension = number

    def _alter(self, token: re.Match[str]) -> None:
        number, alter = int(token["altered"]), _SIGNS[token["sign"]]
        degree = Degree(_SAME_TONE.get(number, number), alter)
        if number == 7 and alter > 0:
            degree = Degree(7)  # the raised seventh of a minor chord
        elif number == 7 and token["sign"] == "-" and self.draft.qualities:
            self._number_after_dash(token)
            return
        if number == 10:
            degree = Degree(9, 1)  # the minor tenth over a major third
        if degree not in _ALTERATIONS:
            cure = "Write b5, #5, b9, #9, #11 or b13."
            raise self._refuse(token, "isn't an alteration players use.", cure)
        self.draft.altered.append(degree)

    def _number_after_dash(self, token: re.Match[str]) -> None:
        """Cmin-7, Cmaj-7: the dash only joins."""
        if self.draft.extension:
            raise self._refuse(token, "is a second number in this chord.", _CURE)
        self.draft.extension = 7

    def _dash(self, token: re.Match[str]) -> None:
        """A dash joins words (C-maj7, min-maj7); elsewhere it says nothing and is refused."""
        if not re.compile(r"\s*(?i:maj?|M|dim|Δ|sus)").match(self.text, token.end(), self.end):
            cause = "means nothing here."
            raise self._refuse(token, cause, "Write the number it lowers after it, such as C7-9.")
