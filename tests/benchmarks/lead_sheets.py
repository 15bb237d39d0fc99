"""Reading a public corpus of scores: ``python -m tests.benchmarks.lead_sheets [--kept]``.

music21's corpus (Cuthbert and Ariza 2010, ISMIR) has scores and tunes in ABC with chord symbols,
and harmonic analyses of chorales and madrigals, whose chords are set over rests; music21 exports
them to MusicXML. Every third work is kept apart and is not looked at
while the reader is worked on: ``--kept`` reads those, otherwise the others are read. Printed are,
by meter, the works read, the chord symbols in them, those kept, and those whose loss is told.
"""

from __future__ import annotations

import re
import sys
import warnings
import zipfile
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Iterator
from contextlib import suppress
from functools import partial
from pathlib import Path
from xml.etree import ElementTree

import music21

from backing.chart.form import Form
from backing.chart.musicxml import read
from backing.chart.musicxml.harmony import chord_of
from backing.chart.unfold import section_bars
from backing.errors import UserError

CORPUS = Path(music21.__file__).parent / "corpus"
SCORES = (".mxl", ".xml", ".musicxml")
EVERY = 3
TOLD = ("left out", "the last is kept", "is a pedal")
"""What the notes on a chord that is not kept say."""
LOST = re.compile(
    r"(?P<chord>\S+) \(measure (?P<bar>\d+), beat (?P<beat>\d)(?P<part>[e&a]?)\) has no beat"
)
FEWEST = 2
"""A work with fewer chord symbols is no lead sheet."""


def works() -> Iterator[tuple[str, Callable[[], bytes]]]:
    """Every work in the corpus that may have chord symbols: its name, and what makes its file."""
    for file in sorted(CORPUS.rglob("*")):
        if file.suffix in SCORES and _unpacked(file).count(b"<harmony") >= FEWEST:
            yield file.stem, partial(_unpacked, file)
        elif file.suffix == ".abc":
            yield from _tunes(file)
        elif file.suffix == ".rntxt":
            yield file.stem, partial(_analysis, file)


def _unpacked(file: Path) -> bytes:
    if not zipfile.is_zipfile(file):
        return file.read_bytes()
    with zipfile.ZipFile(file) as archive:
        names = [n for n in archive.namelist() if n.endswith(".xml") and "META-INF" not in n]
        return archive.read(names[0]) if names else b""


def _tunes(file: Path) -> Iterator[tuple[str, Callable[[], bytes]]]:
    """The tunes of a file in ABC that may have chord symbols."""
    text = file.read_text(encoding="utf-8", errors="replace")
    for tune in re.split(r"(?m)^(?=X:)", text):
        number = re.match(r"X:\s*(\d+)", tune)
        if number and len(re.findall(r'"[A-G][#b]?[^"\s^_<>@]*"', tune)) >= FEWEST:
            yield f"{file.stem}:{number[1]}", partial(_exported, tune)


def _exported(tune: str) -> bytes:
    """A tune in ABC as music21 writes it; nothing where music21 cannot read it."""
    try:
        score = music21.converter.parse(tune, format="abc")
        return music21.musicxml.m21ToXml.GeneralObjectExporter(score).parse()
    except music21.exceptions21.Music21Exception:
        return b""


def _analysis(file: Path) -> bytes:
    """The chords of an analysis in roman numerals as chord symbols over rests."""
    sheet = music21.stream.Part()
    for measure in music21.converter.parse(file).parts[0].getElementsByClass("Measure"):
        bar = music21.stream.Measure(number=measure.number)
        bar.paddingLeft = measure.paddingLeft
        for kind in ("TimeSignature", "KeySignature"):
            for sign in measure.getElementsByClass(kind):
                bar.insert(sign.offset, sign)
        for numeral in measure.getElementsByClass("RomanNumeral"):
            figure = music21.harmony.chordSymbolFigureFromChord(numeral)
            with suppress(ValueError, music21.exceptions21.Music21Exception):
                symbol = music21.harmony.ChordSymbol(figure)
                if symbol.pitches:
                    bar.insert(numeral.offset, symbol)
            bar.insert(numeral.offset, music21.note.Rest(quarterLength=numeral.quarterLength))
        sheet.append(bar)
    return music21.musicxml.m21ToXml.GeneralObjectExporter(sheet).parse()


def symbols(data: bytes) -> tuple[int, str]:
    """How many chord symbols the part that is read has, and the meter it begins in."""
    root = ElementTree.fromstring(data)
    part = max(root.findall("part"), key=lambda p: len(p.findall("measure/harmony")))
    upper, lower = part.findtext(".//time/beats"), part.findtext(".//time/beat-type")
    return len(part.findall("measure/harmony")), f"{upper}/{lower}"


def kept(form: Form) -> int:
    """How many chords are written in a form; one that only goes on over a bar line is none.

    A section that comes again in the head counts again.
    """
    count, before = 0, None
    head = [form.section(use.name) for use in form.order("head")]
    for section in [*head, *(each for each in form.sections if each not in head)]:
        pickup = [section.pickup.changes] if section.pickup else []
        bars = section_bars(section, {each.name: each for each in form.sections})
        for changes in (*pickup, *(bar.head for bar in bars)):
            for change in changes:
                count += change.chord is not None and (change.chord != before)
                before = change.chord
    return count


def changed(data: bytes, remarks: Iterable[str]) -> int:
    """How many chord symbols of a score are other than the one before, as ``kept`` counts.

    Without those that a remark says are lost, where it names chord and measure.
    """
    root = ElementTree.fromstring(data)
    part = max(root.findall("part"), key=lambda p: len(p.findall("measure/harmony")))
    signs = [sign for bar in part.iterfind("measure") for sign in _signs(bar)]
    for remark in remarks:
        if gone := LOST.match(remark):
            at = int(gone["beat"]) - 1 + ("", "e", "&", "a").index(gone["part"]) / 4
            same = [s for s in signs if s[:2] == (gone["bar"], gone["chord"])]
            signs.remove(min(same, key=lambda sign: abs(sign[2] - at)))
    texts = [text for *_, text in signs]
    return sum(a != b for a, b in zip(texts, [None, *texts], strict=False))


def _signs(bar: ElementTree.Element) -> Iterator[tuple[str, str, float, str]]:
    """The chord symbols of a measure: its number, the chord, its place in quarters, its text."""
    at = 0.0
    for child in bar:
        if child.tag == "note":
            at += int(child.findtext("duration", "0")) / music21.defaults.divisionsPerQuarter
        elif child.tag == "harmony" and child.findtext("kind") != "pedal":
            yield bar.get("number", ""), str(chord_of(child)), at, _text(child)


def _text(harmony: ElementTree.Element) -> str:
    """What a symbol says; an alteration by 0 says nothing."""
    said = ((e.tag, (e.text or "").strip()) for e in harmony.iter())
    unsaid = ("offset", "staff", "frame")
    return "|".join(
        f"{tag}={text}"
        for tag, text in said
        if tag not in unsaid and not (tag in ("root-alter", "bass-alter") and text == "0")
    )


def main() -> None:
    """Print the table."""
    warnings.simplefilter("ignore")
    wanted = "--kept" in sys.argv
    table: dict[str, Counter[str]] = defaultdict(Counter)
    failures: list[str] = []
    told: Counter[str] = Counter()
    for number, (name, make) in enumerate(works()):
        if (number % EVERY == 0) != wanted:
            continue
        data = make()
        if data.count(b"<harmony") < FEWEST:
            continue
        count, meter = symbols(data)
        row = table[meter]
        row["works"] += 1
        row["symbols"] += count
        try:
            form = read(data, name)
        except UserError as error:
            failures.append(f"{name} ({meter}): {error}")
            try:
                form = read(data, name, skip=True)
                row["read with --mend"] += 1
            except UserError as again:
                failures.append(f"   and with --skip: {again}")
                continue
        else:
            row["read"] += 1
        told.update(re.sub(r"\d+|\(.*\)|[A-G][#b]?\S*", "*", note) for note in form.remarks)
        row["told"] += sum(any(said in note for said in TOLD) for note in form.remarks)
        changes = changed(data, form.remarks)
        lost = changes - kept(form)
        if lost > 0:
            row["in doubt"] += 1
            failures.append(f"{name} ({meter}): {lost} of {changes} changes not found")
    columns = ("works", "read", "read with --mend", "symbols", "told", "in doubt")
    print(f"{'meter':<8}" + "".join(f"{column:>18}" for column in columns))
    for meter, row in sorted(table.items()):
        print(f"{meter:<8}" + "".join(f"{row[column]:>18}" for column in columns))
    total = sum(table.values(), Counter())
    print(f"{'all':<8}" + "".join(f"{total[column]:>18}" for column in columns))
    print("\n".join(failures))
    print(*(f"{count:>4} {note}" for note, count in told.most_common(25)), sep="\n")


if __name__ == "__main__":
    main()
