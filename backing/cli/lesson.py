"""``backing lesson``: a lesson file becomes a folder for every student, or the album of a set."""

from __future__ import annotations

import os
import shutil
import unicodedata
import zipfile
from collections.abc import Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from string import ascii_lowercase

from backing import __version__
from backing.chart.text.source import readable
from backing.cli.assignment import VOCABULARY, Assignment, Exercise, Reader
from backing.cli.batch import Job as Piece
from backing.cli.batch import outcomes
from backing.cli.handouts import FirstPage, Page, PageTask, Sheets
from backing.cli.job import Job
from backing.cli.options import refuse_idle
from backing.cli.parser import Words
from backing.cli.progress import many_done
from backing.cli.status import DONE, STOPPED, USERS, in_words, show, tell, worst
from backing.cli.track import check_sound, each_tempo
from backing.errors import OutputError, UserError
from backing.lesson.first_page import Entry, clock, first_page, minutes
from backing.lesson.lesson_file import Lesson, read_file
from backing.lesson.manifest import Manifest, begin, clear_folder, item
from backing.lesson.week import turn_minutes
from backing.mixdown.tags import Label
from backing.routine.routine import Routine
from backing.saving import (
    check_writable,
    file_words,
    hidden_folder,
    is_folder,
    is_there,
    output_error,
    shortened_name,
    temporary_path,
)
from backing.sheet.sheet_part import UNISON, make_sheet_part

A_DOZEN = 12
"""Files of a student; with more of them it is hard to find one's way."""
LONGEST_FOLDER = 80
"""Characters of a student's name in the name of a folder."""
BYTES_A_SECOND = {
    "wav": 176_400, "flac": 78_000, "mp3": 25_400, "ogg": 22_500, "opus": 16_400, "m4a": 24_700,
    "mid": 100,
}  # fmt: skip
"""Of sound at 16 bits, in which the band plays: medians over three tunes of the repository."""
PAGE_BYTES, SHEET_BYTES = 5_100_000, 40_000
"""Of a page, and of a sheet in a document; measured the same way."""
FIRST_PAGE, SHEETS, PAGE = "0-first-page.pdf", "sheets.pdf", "page.html"
NO_TIME = (1980, 1, 1, 0, 0, 0)
"""The first that a zip can hold, so that equal files make equal zips."""


@dataclass(frozen=True, slots=True)
class Planned:
    """A file to be made: the ``piece`` of work, what it is, its length (0: none, or that of the
    track it stands beside), and its size in bytes with its stems, more or less."""

    piece: Job | FirstPage | Sheets | Page
    what: str
    seconds: float = 0.0
    size: int = 0

    @property
    def name(self) -> str:
        """The name of the file."""
        return self.piece.target.name

    @property
    def sounds(self) -> bool:
        """Whether a SoundFont is heard in it."""
        return isinstance(self.piece, Page) or (isinstance(self.piece, Job) and not self.piece.midi)

    @property
    def soundfont(self) -> Path | None:
        """The SoundFont that was asked for; None: the best one there is."""
        return self.piece.soundfont if isinstance(self.piece, Job | Page) else None


@dataclass(frozen=True, slots=True)
class Folder:
    """All that is made for a student, in ``place``."""

    place: Path
    assignment: Assignment
    files: tuple[Planned, ...]


def lesson(words: Words) -> int:
    """Make what a lesson file asks for; what can't be made doesn't stop the rest."""
    refuse_idle(words.command.options, words.said)
    if not words.names or (len(words.names) > 1 and "log" not in words):
        raise UserError("Name one lesson file.", "Write backing lesson week.toml.")
    path = Path(words.names[0])
    read, assignments, status = _understood(path)
    if "log" in words:
        from backing.cli.practice_log import logs_shown

        logs = [words.said["log"], *words.names[1:]]
        return worst(status, logs_shown([Path(each) for each in logs], assignments))
    output = _output(words, path)
    if "dry-run" in words:
        _list(_folders(words, path, read, assignments, output))
        return status
    if output.suffix.lower() == ".zip":
        try:
            return worst(status, _make_zip(words, path, read, assignments, output))
        except KeyboardInterrupt:
            tell(f"\nbacking: stopped before {output} was written.")
            return STOPPED
    folders = _folders(words, path, read, assignments, output)
    status = worst(status, _make(words, read, folders, output))
    if status == DONE and not read.set_list:
        clear_folder(output, _recipe(path))  # of the set list that it may have been
    return status


def _make_zip(
    words: Words, path: Path, read: Lesson, assignments: Sequence[Assignment], output: Path
) -> int:
    """Make all files in a hidden folder, and a zip of them; returns the worst exit status."""
    check_writable(output)
    with hidden_folder(output.parent) as hidden:
        place = Path(hidden)
        folders = _folders(words, path, read, assignments, place)
        status = _make(words, read, folders, place, output)
        if any(each.place.is_dir() for each in folders):
            _zip(place, output)
        return status


def lesson_shown(path: Path) -> int:
    """Show what a lesson file asks of whom, or all its mistakes and those of its tunes."""
    read, assignments, status = _understood(path)
    for each in assignments:
        show(": ".join(filter(None, (read.title, each.student.name))))
        for entry in _entries(read, each, ()):
            told = ", ".join(filter(None, (entry.what, entry.facts, minutes(entry.minutes))))
            show(f"  {entry.number:>2}  {told}")
    return status


def _understood(path: Path) -> tuple[Lesson, tuple[Assignment, ...], int]:
    """A lesson, what every student gets, and the exit status for tunes that can't be read.

    Raises TuneError with all mistakes of the lesson file.
    """
    read = read_file(path, VOCABULARY)
    assignments = Reader(read).assignments()
    faults = dict.fromkeys(fault for each in assignments for fault in each.faults)
    for fault in faults:
        tell(in_words(fault))
    read.source.finish()
    return read, assignments, USERS if faults else DONE


def _output(words: Words, path: Path) -> Path:
    """Where everything goes: the place named, or a folder of the file's name."""
    output = words.path("output") or Path(path.stem)
    if output.suffix.lower() != ".zip" and is_there(output) and not is_folder(output):
        raise OutputError(f"{output} is a file.", "Name a folder, or a name that ends in .zip.")
    if not is_folder(output.parent):
        raise OutputError(f"There is no folder {output.parent}.", "Make it, or name another.")
    return output


# ---- what is made ------------------------------------------------------------------------------


def _folders(
    words: Words, path: Path, read: Lesson, assignments: Sequence[Assignment], output: Path
) -> list[Folder]:
    """All folders and what is made in them, without tasks none."""
    taken: set[str] = set()
    folders = []
    for each in assignments:
        if not each.exercises:
            continue
        place = output / _folder_name(each.student.name, taken) if each.student.name else output
        folders.append(Folder(place, each, tuple(_files(words, path, read, each, place))))
    return folders


def _folder_name(name: str, taken: set[str]) -> str:
    """A folder's name for a student's, one that no other has, on any system."""
    plain = unicodedata.normalize("NFC", name)
    kept = "".join("-" if c in '/\\:*?"<>|' or not c.isprintable() else c for c in plain)
    short = kept[:LONGEST_FOLDER].strip(" .-") or "student"
    found, count = shortened_name(short, ""), 1
    while found.casefold() in taken:
        count += 1
        found = shortened_name(short, f" {count}")
    taken.add(found.casefold())
    return found


def _recipe(path: Path) -> str:
    """The command that makes a lesson, as its files state it."""
    return f"backing lesson {readable(path.name)}"


def _files(
    words: Words, path: Path, read: Lesson, each: Assignment, place: Path
) -> Iterator[Planned]:
    cached, recipe = "no-cache" not in words, _recipe(path)
    tracks = [*_tracks(read, each, place, recipe, cached=cached)]
    prints, tasks = each.prints, _page_tasks(read, each)
    others = []
    if prints:
        others.append(f"{SHEETS}: the charts, then the lines in the order of the tasks.")
    if tasks:
        others.append(f"{PAGE}: all tasks in any browser, without a network, at any tempo.")
    if make_sheet_part(each.habits.get("part", "guitar")).interval != UNISON:
        mine = "the sheets and the page are" if tasks else "the sheets are"
        others.append(f"Keys are concert keys, as the band has them; {mine} in yours.")
    entries, made_by = [*_entries(read, each, tracks)], f"backing {__version__} · {recipe}"
    paper = each.habits.get("paper", "a4")
    large = "large" in each.habits
    content = first_page(read, each.student, entries, others, made_by, paper=paper, large=large)
    first = FirstPage(target=place / FIRST_PAGE, recipe=recipe, cached=cached, content=content)
    yield Planned(first, "what to do, in what order", size=SHEET_BYTES)
    for _, planned in tracks:
        yield planned
    if prints:
        sheets = Sheets(target=place / SHEETS, recipe=recipe, cached=cached, prints=prints)
        yield Planned(sheets, "the sheets", size=SHEET_BYTES * len(prints))
    if tasks:
        font = each.habits.get("soundfont")
        page = Page(
            target=place / PAGE,
            recipe=recipe,
            cached=cached,
            title=f"{read.title}: {each.student.name}",
            tasks=tasks,
            content=content,
            soundfont=Path(font) if font else None,
            neck=each.habits.get("neck", ""),
            part=each.habits.get("part", ""),
        )
        yield Planned(page, "the page with all tasks", size=PAGE_BYTES)


def _tracks(
    read: Lesson, each: Assignment, place: Path, recipe: str, *, cached: bool
) -> Iterator[tuple[int, Planned]]:
    """The tracks of each exercise, by its number, with their place in the album."""
    numbered = [
        (number, letter, exercise, job, routine)
        for number, exercise in each.numbered
        for letter, job, routine in _lettered(exercise)
    ]
    digits = len(str(each.count))
    album = read.title
    for at, (number, letter, exercise, job, routine) in enumerate(numbered, 1):
        title = ", ".join((f"{number}{letter} {exercise.what}", *facts(routine)))
        ending = job.target.suffix.lower()
        separate = exercise.words is not None and "separate" in exercise.words
        told = job.name if separate else facts(routine)[0]  # by its name a take knows which it is
        stem = file_words(f"{number:0{digits}}{letter} {exercise.what} {told}")
        label = Label(title, album, at, len(numbered))
        target = place / shortened_name(stem, ending, 16)
        made = replace(job, target=target, label=label, cached=cached)
        seconds = float(routine.seconds)
        midi = Planned(made, title, seconds, round(seconds * BYTES_A_SECOND["mid"]))
        if job.midi:
            yield number, midi
            continue
        if read.gap:  # which no track has by itself
            told = f"{job.recipe} # and {float(read.gap):g} seconds of silence"
            made = replace(made, gap=read.gap, recipe=told)
        seconds += float(routine.with_gap(read.gap).tail)
        size = seconds * BYTES_A_SECOND[ending.removeprefix(".")] * job.bits / 16
        parts = len(job.band.players) + (job.request.count_in != 0)
        yield number, Planned(made, title, seconds, round(size * (1 + parts * job.stems)))
        if exercise.task.midi:
            beside = replace(job, target=target.with_suffix(".mid"), recipe=recipe)
            yield number, replace(midi, piece=beside, seconds=0.0)


def _lettered(exercise: Exercise) -> Iterator[tuple[str, Job, Routine]]:
    """The tracks of an exercise: of several a, b, c; of very many by numbers."""
    several = len(exercise.jobs) > 1
    many = len(exercise.jobs) > len(ascii_lowercase)
    for at, (job, routine) in enumerate(zip(exercise.jobs, exercise.routines, strict=False)):
        letter = f"-{at + 1:03}" if many else ascii_lowercase[at]
        yield letter if several else "", job, routine


def _page_tasks(read: Lesson, each: Assignment) -> tuple[PageTask, ...]:
    """The tasks of the page; none for a set list."""
    if read.set_list:
        return ()
    turns = turn_minutes(each.student, [exercise.task for exercise in each.exercises])
    return tuple(
        PageTask(exercise.form, next(each_tempo(exercise.words))[0], ", ".join(told), str(number))
        for (number, exercise), turn in zip(each.numbered, turns, strict=True)
        if exercise.form and exercise.words
        for told in [(exercise.what, minutes(turn))]
    )


def _entries(
    read: Lesson, each: Assignment, tracks: Sequence[tuple[int, Planned]]
) -> Iterator[Entry]:
    tasks = [exercise.task for exercise in each.exercises]
    turns = [0.0] * len(tasks) if read.set_list else turn_minutes(each.student, tasks)
    for (number, exercise), turn in zip(each.numbered, turns, strict=True):
        mine = [(p.name, p.seconds) for n, p in tracks if n == number]
        told = ", ".join(filter(None, (exercise.more, _all_facts(exercise.routines))))
        yield Entry(str(number), exercise.what, told, exercise.task.say, turn, mine)


def facts(routine: Routine) -> tuple[str, str]:
    """Tempos and key of a track: ("96-160 bpm", "G minor")."""
    slow, fast = _bpm(min(routine.tempos)), _bpm(max(routine.tempos))
    tempos = slow + (f"-{fast}" if fast != slow else "")
    keys = routine.keys or (routine.form.key,)
    named = keys[0].pretty if len(keys) == 1 else f"{len(keys)} keys"
    return f"{tempos} bpm", named


def _bpm(tempo: Fraction) -> str:
    """A tempo as players say it: whole, or a half where somebody asked for that."""
    return f"{float(tempo):g}" if 2 * tempo % 1 == 0 else f"{float(tempo):.0f}"


def _all_facts(routines: Sequence[Routine]) -> str:
    """Tempos and keys of a task, whose tracks may differ in both."""
    tempos = dict.fromkeys(facts(each)[0].removesuffix(" bpm") for each in routines)
    keys = dict.fromkeys(facts(each)[1] for each in routines)
    return ", ".join(filter(None, (f"{', '.join(tempos)} bpm" if tempos else "", ", ".join(keys))))


def _list(folders: Sequence[Folder]) -> None:
    """Show what would be made, how long and how large."""
    for folder in folders:
        show(f"{folder.place}")
        for each in folder.files:
            length = clock(each.seconds) if each.seconds else ""
            show(f"  {each.name:<60} {length:>6} {each.size / 1e6:6.1f} MB")
    files = [each for folder in folders for each in folder.files]
    seconds, size = sum(each.seconds for each in files), sum(each.size for each in files)
    show(f"{len(files)} files, {clock(seconds)} min of music, about {size / 1e6:.0f} MB")


# ---- the making --------------------------------------------------------------------------------


def _make(
    words: Words,
    read: Lesson,
    folders: Sequence[Folder],
    output: Path,
    zipped: Path | None = None,
) -> int:
    """Make all files of all folders; returns the worst exit status.

    ``zipped``: where they go from ``output``, of which then nobody is told.
    """
    quiet, cluster = "quiet" in words, words.text("cluster")
    files = [each for folder in folders for each in folder.files]
    if not files:
        return USERS
    size = sum(each.size for each in files)
    _check_space(zipped or output, 2 * size if zipped else size)
    if sounding := [each for each in files if each.sounds and cluster is None]:
        check_sound(sounding[0].soundfont)
    manifests = [_begun(read, folder) for folder in folders]
    _make_folders([output, *(folder.place for folder in folders)])
    for manifest in manifests:
        manifest.write()
    hidden = f"{output}{os.sep}" if zipped else ""
    status = _make_files(words, folders, manifests, hidden)
    for folder, manifest in zip(folders, manifests, strict=True):
        place = str(folder.place).replace(hidden, "")
        if manifest.complete and not folder.assignment.faults:
            manifest.clear()
        elif count := len(manifest.old):
            tell(f"{place}: what was made before ({count}) stays until all of it can be made.")
        count = len(manifest.items) + 1
        if count > A_DOZEN and not quiet and not read.set_list:
            tell(f"{place} has {count} files; a dozen are easier to find one's way in.")
    return status


def _begun(read: Lesson, folder: Folder) -> Manifest:
    """The manifest of a folder. Raises OutputError where a file of somebody else's would go."""
    about = {
        "lesson": read.title,
        "student": folder.assignment.student.name,
        "made_with": f"backing {__version__}",
    }
    return begin(folder.place, about, [each.name for each in folder.files])


def _make_files(
    words: Words, folders: Sequence[Folder], manifests: Sequence[Manifest], hidden: str
) -> int:
    """Make all files, each of which is in the manifest as soon as it is there."""
    quiet, cluster, status = "quiet" in words, words.text("cluster"), DONE
    planned = {
        each.piece.target: (each, manifest)
        for folder, manifest in zip(folders, manifests, strict=True)
        for each in folder.files
    }
    # the longest first, so that at the end all processors have work
    order = sorted(
        (each for each, _ in planned.values()),
        key=lambda each: (not isinstance(each.piece, Page), -each.seconds),
    )
    with many_done(len(order), "files", quiet=quiet) as one_more:
        for wave in _waves([each.piece for each in order]):
            for outcome in outcomes(wave, cluster):
                if outcome.places:
                    each, manifest = planned[outcome.places[0]]
                    sound = _sound(each, cluster)
                    _list_files(manifest, each, outcome.places, sound)
                silent = quiet and outcome.status == DONE
                one_more("" if silent else outcome.words.replace(hidden, ""))
                status = worst(status, outcome.status)
    return status


def _list_files(
    manifest: Manifest, planned: Planned, places: Sequence[Path], sound: tuple[str, str]
) -> None:
    """Write in the manifest that a file and its stems are there."""
    for place in places:
        with suppress(OSError):  # somebody took it away
            recipe, seconds = planned.piece.recipe, planned.seconds
            manifest.add(item(place, planned.what, recipe, seconds, sound))


def _sound(planned: Planned, cluster: str | None) -> tuple[str, str]:
    """The SoundFont of a file and its license, where they are known: on a cluster each worker has
    its own."""
    from backing.mixdown.soundfont import choose

    if not planned.sounds or (cluster is not None and planned.soundfont is None):
        return "", ""
    font = choose(planned.soundfont)
    return font.name, font.licence


def _waves(pieces: Sequence[Piece]) -> Iterator[list[Piece]]:
    """The work in turns: what sounds alike is rendered once, and then comes from the cache, if it
    is kept there."""
    first: list[Piece] = []
    later: list[Piece] = []
    seen: set[tuple[object, ...]] = set()
    for piece in pieces:
        alike = None
        if isinstance(piece, Job) and piece.cached and not piece.midi:
            alike = (piece.recipe, piece.name, piece.gap)
        (later if alike in seen else first).append(piece)
        if alike is not None:
            seen.add(alike)
    yield first
    if later:
        yield later


def _make_folders(places: Iterable[Path]) -> None:
    for place in places:
        try:
            place.mkdir(exist_ok=True)
        except OSError as error:
            raise output_error(error, place) from error


def _check_space(output: Path, size: int) -> None:
    """Raise OutputError before the work where the disk is too full for so many bytes."""
    there = output if is_folder(output) else output.parent
    try:
        free = shutil.disk_usage(there).free
    except OSError:
        return
    if free < size:
        raise OutputError(
            f"There is too little space in {there}: this takes about {size / 1e6:,.0f} MB, "
            f"and {free / 1e6:,.0f} MB are free.",
            "Free some space, or write somewhere else.",
        )


def _zip(folder: Path, target: Path) -> None:
    """All files below a folder as a zip, whose bytes follow from theirs."""
    growing = temporary_path(target.resolve())
    try:
        with zipfile.ZipFile(growing, "w", zipfile.ZIP_STORED) as archive:
            for path in sorted(folder.rglob("*")):
                if path.is_file():
                    entry = zipfile.ZipInfo(path.relative_to(folder).as_posix(), NO_TIME)
                    entry.external_attr = 0o644 << 16
                    entry.file_size = path.stat().st_size  # over 2 GiB it is written as a zip64
                    with path.open("rb") as source, archive.open(entry, "w") as written:
                        shutil.copyfileobj(source, written)
        growing.replace(target.resolve())
    except OSError as error:
        raise output_error(error, target) from error
    finally:
        growing.unlink(missing_ok=True)
