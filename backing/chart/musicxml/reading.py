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
from backing.chart.musicxml.assembly import Assembly
from backing.chart.musicxml.measures import read_measures
from backing.chart.musicxml.report import Report
from backing.chart.text.source import title_of
from backing.chart.text.tune_file import read as read_tune
from backing.chart.text.writer import write as write_tune
from backing.errors import TuneError, UserError
from backing.reading import MEASURES, MUSICXML_BYTES, MUSICXML_ELEMENTS, guarded, read_bytes

_ZIP = b"PK\x03\x04"
_CURE = "Save it as MusicXML (.musicxml or .mxl) from a notation program."


def read_file(path: Path | str, *, skip: bool = False) -> Form:
    """The form in a MusicXML file, plain or compressed (.mxl).

    Raises UserError where the file cannot be read, is no MusicXML, or holds no chord symbols.
    """
    path = Path(path)
    data = read_bytes(path, MUSICXML_BYTES, "a lead sheet")
    try:
        return read(data, title_of(path.stem), skip=skip)
    except UserError as error:
        raise UserError(f"{path}: {error.cause}", error.cure) from None


def read(data: bytes | str, title: str = "", *, skip: bool = False) -> Form:
    """The form in the text (or the bytes, also compressed) of a MusicXML file.

    ``title`` stands in where the file has none. What is read otherwise than it is written is told
    in the ``remarks`` of the form, with its measure; with ``skip`` so is what cannot be read.
    Raises UserError: see ``read_file``.
    """
    with guarded("This cannot be read as MusicXML", _CURE):
        return _read(data, title, skip=skip)


def _read(data: bytes | str, title: str, *, skip: bool) -> Form:
    root = _root(data)
    part = max(root.findall("part"), key=lambda p: len(p.findall("measure/harmony")), default=None)
    if part is None or part.find("measure") is None:
        raise UserError("This file has no measures.", _CURE)
    if len(part.findall("measure")) > MEASURES:
        raise UserError(f"This file has over {MEASURES:,} measures.", "Save one tune to a file.")
    report = Report(skip)
    measures = read_measures(part, report)
    if not any(measure.chords for measure in measures):
        report.finish()
        raise UserError("This file has no chord symbols.", "Write them over the melody first.")
    name, by = _credits(root)
    return _sound_form(Assembly(measures, name or title or "untitled", by, report))


def _sound_form(assembly: Assembly) -> Form:
    """The form as it is written; where a tune cannot have it so, without what stands in its way.

    First its orders are left to the usual ones, then its repeats are written out.
    """
    for unroll, ordered in ((False, True), (False, False), (True, False)):
        form = assembly.form(unroll=unroll, ordered=ordered)
        try:
            # the form is checked by reading it again from its own text
            return read_tune(write_tune(form), form.title)
        except TuneError as error:
            problem = error.problems[0]
    raise UserError(problem.cause, problem.cure)


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
        return _by_part(root)
    if root.tag != "score-partwise":
        raise UserError(f"This isn't MusicXML: it begins with <{root.tag}>.", _CURE)
    return root


def _by_part(root: ElementTree.Element) -> ElementTree.Element:
    """A score ordered by time, ordered by part."""
    parts: dict[str, ElementTree.Element] = {}
    for measure in root.findall("measure"):
        for inside in measure.findall("part"):
            name = inside.get("id", "")
            part = parts.setdefault(name, ElementTree.Element("part", id=name))
            ElementTree.SubElement(part, "measure", measure.attrib).extend(inside)
        root.remove(measure)
    root.extend(parts.values())
    return root


def _unpacked(data: bytes) -> bytes:
    """The score inside a compressed file, which its container names; else the only one there."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            return _member(archive, _named(archive) or _only_score(archive))
    except UserError:
        raise
    except Exception as error:  # of zipfile, of each way to compress, and of XML
        cause = f"There is no MusicXML in this compressed file ({type(error).__name__})."
        raise UserError(cause, _CURE) from None


def _named(archive: zipfile.ZipFile) -> str:
    """The file that the container names; "" where it names none that is there."""
    try:
        container = ElementTree.fromstring(_member(archive, "META-INF/container.xml"))
    except (KeyError, ElementTree.ParseError):
        return ""
    files = (e.get("full-path", "") for e in container.iter() if e.tag.endswith("rootfile"))
    return next((file for file in files if file in archive.namelist()), "")


def _only_score(archive: zipfile.ZipFile) -> str:
    """The only file that could be a score. Raises KeyError where there is none or several."""
    outside = (name for name in archive.namelist() if not name.startswith(("META-INF/", "__")))
    (name,) = [name for name in outside if name.endswith((".xml", ".musicxml"))] or [""]
    return name


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
