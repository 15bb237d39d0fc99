"""MusicXML to form: the chord symbols of a lead sheet, its repeats, keys and meters.

Of several parts the one with the most chord symbols is read. What is transposed for an instrument
is brought back to concert pitch. A chord off the beat becomes the chord of the nearest beat,
pushed or delayed by an eighth. What "D.C." and "D.S. al coda" lead to is the head out, "al fine"
belongs to the head.
"""

from __future__ import annotations

import io
import zipfile
from pathlib import Path
from xml.etree import ElementTree

from backing.chart.form import Form
from backing.chart.musicxml.assembly import assemble
from backing.chart.musicxml.measures import Measure, read_measures
from backing.chart.text.source import title_of
from backing.chart.text.tune_file import read as read_tune
from backing.chart.text.writer import write as write_tune
from backing.errors import TuneError, UserError
from backing.reading import MEASURES, MUSICXML_BYTES, MUSICXML_ELEMENTS, guarded, read_bytes

_ZIP = b"PK\x03\x04"
_CURE = "Save it as MusicXML (.musicxml or .mxl) from a notation program."


def read_file(path: Path | str) -> Form:
    """The form in a MusicXML file, plain or compressed (.mxl).

    Raises UserError where the file cannot be read, is no MusicXML, or holds no chord symbols.
    """
    path = Path(path)
    data = read_bytes(path, MUSICXML_BYTES, "a lead sheet")
    try:
        return read(data, title_of(path.stem))
    except UserError as error:
        raise UserError(f"{path}: {error.cause}", error.cure) from None


def read(data: bytes | str, title: str = "") -> Form:
    """The form in the text (or the bytes, also compressed) of a MusicXML file.

    ``title`` stands in where the file has none. Raises UserError: see ``read_file``.
    """
    with guarded("This cannot be read as MusicXML", _CURE):
        return _read(data, title)


def _read(data: bytes | str, title: str) -> Form:
    root = _root(data)
    part = max(root.findall("part"), key=lambda p: len(p.findall("measure/harmony")), default=None)
    if part is None or part.find("measure") is None:
        raise UserError("This file has no measures.", _CURE)
    if len(part.findall("measure")) > MEASURES:
        raise UserError(f"This file has over {MEASURES:,} measures.", "Save one tune to a file.")
    measures = read_measures(part)
    if not any(measure.chords for measure in measures):
        raise UserError("This file has no chord symbols.", "Write them over the melody first.")
    name, by = _credits(root)
    return _sound_form(measures, name or title or "untitled", by)


def _sound_form(measures: list[Measure], title: str, by: str) -> Form:
    """The form with the repeats as written; where a tune cannot have them so, written out."""
    try:
        return _checked(assemble(measures, title, by))
    except TuneError:
        return _checked_or_explained(assemble(measures, title, by, unroll=True))


def _checked(form: Form) -> Form:
    """The same form, read again from its own text, by which it is checked."""
    return read_tune(write_tune(form), form.title)


def _checked_or_explained(form: Form) -> Form:
    try:
        return _checked(form)
    except TuneError as error:
        raise UserError(error.problems[0].cause, error.problems[0].cure) from None


def _root(data: bytes | str) -> ElementTree.Element:
    if isinstance(data, bytes) and data.startswith(_ZIP):
        data = _unpacked(data)
    brackets = data.count(b"<") if isinstance(data, bytes) else data.count("<")
    if brackets > MUSICXML_ELEMENTS:
        raise UserError("This file is too long for a lead sheet.", "Save one tune to a file.")
    try:
        root = ElementTree.fromstring(data)
    except (ElementTree.ParseError, LookupError, ValueError) as error:
        raise UserError(f"This isn't MusicXML ({error}).", _CURE) from None
    if root.tag == "score-timewise":
        raise UserError("This file is ordered by time, not by part.", "Save it as score-partwise.")
    if root.tag != "score-partwise":
        raise UserError(f"This isn't MusicXML: it begins with <{root.tag}>.", _CURE)
    return root


def _unpacked(data: bytes) -> bytes:
    """The score inside a compressed file, which its container names."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            container = ElementTree.fromstring(_member(archive, "META-INF/container.xml"))
            file = next(e for e in container.iter() if e.tag.endswith("rootfile"))
            return _member(archive, file.get("full-path", ""))
    except UserError:
        raise
    except Exception as error:  # of zipfile, of each way to compress, and of XML
        cause = f"There is no MusicXML in this compressed file ({type(error).__name__})."
        raise UserError(cause, _CURE) from None


def _member(archive: zipfile.ZipFile, name: str) -> bytes:
    with archive.open(name) as member:
        data = member.read(MUSICXML_BYTES + 1)
    if len(data) > MUSICXML_BYTES:
        raise UserError("This file is too long for a lead sheet.", "Save one tune to a file.")
    return data


def _credits(root: ElementTree.Element) -> tuple[str, str]:
    """Title and writers."""
    title = root.findtext("work/work-title") or root.findtext("movement-title") or ""
    wrote = (creator.text or "" for creator in root.iterfind("identification/creator"))
    return " ".join(title.split()), ", ".join(" ".join(name.split()) for name in wrote if name)
