"""One track: what it takes to make it, anywhere, and the making."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import lru_cache, partial
from pathlib import Path
from typing import TYPE_CHECKING

from backing import __version__
from backing.chart.form import Form
from backing.chart.text.writer import write
from backing.cli.tag_text import chord_lines
from backing.combo.band import Band
from backing.combo.feel_file import load_feel, use_feel_texts
from backing.errors import OutputError
from backing.memory import SOUND_BYTES, check_room, enough_memory
from backing.routine import Purpose
from backing.routine.request import Request
from backing.routine.routine import Routine, check_length, make_routine
from backing.saving import check_writable, output_error, refuse_inputs, write_file

if TYPE_CHECKING:
    from backing.combo.performance import Performance
    from backing.mixdown.bank import Bank
    from backing.mixdown.soundfont import SoundFont
    from backing.mixdown.tags import Label, Tags

MIDI_SUFFIXES = (".mid", ".midi")
EXACT_SUFFIXES = (".wav", ".flac")
MOST_TEMPOS_SHOWN = 6
MOST_BANK_BYTES = 500_000_000
"""A bank of notes that has grown larger is not kept for the next track."""

Progress = Callable[[float], None]


@dataclass(frozen=True, slots=True)
class Job:
    """A track to be made: what is asked of which form, who plays, and where it goes.

    ``name`` tells it from others of its tune ("01 80 bpm"). ``soundfont``: None for the best one
    there is. ``recipe``: the command that makes it again; ``drill``: what it is for. ``long``: even
    if it lasts for hours. ``cached``: take it from the cache, and keep it there. ``threads``: how
    many may work at it (None: one for each processor). ``feels``: the feel files it needs, path and
    text, where it is not made by the process that read the tune. ``label``: what it is called
    among others, which the cache knows nothing of; ``gap``: seconds of silence at its end.
    """

    form: Form
    request: Request
    band: Band
    target: Path
    name: str = ""
    soundfont: Path | None = None
    bits: int = 16
    stems: bool = False
    recipe: str = ""
    drill: str = ""
    long: bool = False
    cached: bool = True
    threads: int | None = None
    feels: tuple[tuple[str, str], ...] = ()
    label: Label | None = None
    gap: Fraction = Fraction(0)

    @property
    def midi(self) -> bool:
        """Whether it is written as notes, not as sound."""
        return self.target.suffix.lower() in MIDI_SUFFIXES

    @property
    def title(self) -> str:
        """The title of the tune, what tells this track from others of it, and what it is for."""
        return ", ".join(filter(None, (self.form.title, self.name, self.drill)))

    def at(self, target: Path) -> Job:
        """The same track in another place."""
        return replace(self, target=target)

    def shared(self, threads: int) -> Job:
        """The same track, at which so many may work."""
        return replace(self, threads=threads)

    def packed(self) -> Job:
        """The job with its feel files, to be made where they may not be seen. Raises FeelError."""
        return replace(self, feels=tuple(self.feel_files().items()))

    def feel_files(self) -> dict[str, str]:
        """Path and text of every feel file that the notes follow from."""
        named = {*self.form.feel_places(), *([self.band.feel] if self.band.feel else [])}
        return {
            path: text for name in sorted(named) for path, text in load_feel(name).files.items()
        }

    def check_inputs(self, target: Path) -> None:
        """Raise OutputError where a file that the track is made of would be replaced."""
        fonts = [self.soundfont] if self.soundfont else []
        refuse_inputs(target, (*fonts, *map(Path, self.feel_files())))

    def make(self, progress: Progress | None = None) -> Made:
        """Make the track; ``progress`` is told how much is done, 0 to 1. Raises UserError."""
        with enough_memory(), use_feel_texts(dict(self.feels)):
            return _made(self, progress)


@dataclass(frozen=True, slots=True)
class Made:
    """The files of a track, the mix first, and what there is to say of them."""

    paths: tuple[Path, ...]
    summary: str


def _made(job: Job, progress: Progress | None) -> Made:
    _check(job)
    if job.midi:
        from backing.midi import to_bytes

        routine, performance = _arranged(job)
        write_file(job.target, to_bytes(performance))
        return Made((job.target,), _summary(job, _figures(job, routine, performance)))
    return _audio(job, progress)


def _arranged(job: Job) -> tuple[Routine, Performance]:
    """What the band plays. Raises UserError for what cannot be played."""
    from backing.combo.arrangement import arrange

    routine = make_routine(job.form, job.request).with_gap(job.gap)
    if not job.long:
        check_length(routine, sound=not job.midi)
    return routine, arrange(routine, job.band)


def _check(job: Job) -> None:
    check_writable(job.target)
    job.check_inputs(job.target)
    check_bits(job.target, job.bits)


def check_bits(target: Path, bits: int) -> None:
    """Raise OutputError for more ``bits`` than a file of this name has."""
    if bits != 16 and target.suffix.lower() not in EXACT_SUFFIXES:
        raise OutputError(f"{target.suffix} has no {bits} bits.", "Choose .wav or .flac for them.")


def _audio(job: Job, progress: Progress | None) -> Made:
    """Take the files from the cache, before anything is arranged, or render them."""
    if "fluidsynth" not in sys.modules:  # the first track takes most of it
        check_room(SOUND_BYTES)
    from backing.mixdown.cache import key_of, user_cache
    from backing.mixdown.formats import check_writable
    from backing.mixdown.soundfont import choose

    check_writable(job.target)
    font = choose(job.soundfont)
    sound = f"\n  sound: {font.name} ({font.licence})"
    cache, key = user_cache(), ""
    if job.cached:
        key = key_of(_inputs(job, font))
        paths = cache.fetch(key, job.target)
        if paths is not None:
            _labeled(job, paths[0])
            summary = _summary(job, cache.about(key))
            return Made(paths, f"{summary}{sound}, made before: it comes from the cache")
    routine, performance = _arranged(job)
    figures = _figures(job, routine, performance)
    paths = _render(job, routine, performance, font, progress)
    if job.cached:
        cache.keep(key, paths, figures)
    _labeled(job, paths[0])
    return Made(paths, _summary(job, figures) + sound)


def _labeled(job: Job, path: Path) -> None:
    from backing.mixdown.tags import write_label

    if job.label is not None:
        try:
            write_label(path, job.label)
        except OSError as error:
            raise output_error(error, job.target) from error


def _inputs(job: Job, font: SoundFont) -> Iterator[str | bytes]:
    """All that the bytes of a track follow from, and the names of its stems, but not its own."""
    yield write(job.form)
    yield repr(job.request)
    band = job.band
    yield repr((sorted(band.players), band.seed, band.feel, band.swing, band.comp))
    yield repr(band.occasion)
    yield repr((band.guide_line, band.click))
    yield repr(band.line)
    yield repr(sorted(job.feel_files().items()))
    state = font.path.stat()
    yield repr((str(font.path.resolve()), state.st_size, state.st_mtime_ns))
    yield repr((job.target.suffix.lower(), job.bits, job.stems, job.title, job.recipe, job.drill))
    yield repr((job.long, job.gap))


def _players(performance: Performance) -> dict[str, str]:
    """What each part is called where the user meets it."""
    return {part: performance.player(part) for part in performance.part_names}


def _tags(job: Job, routine: Routine, performance: Performance, font: SoundFont) -> Tags:
    from backing.combo.markers import markers
    from backing.mixdown.marks import Mark
    from backing.mixdown.tags import Tags

    key = (routine.keys[0] if len(routine.keys) == 1 else routine.form.key).pretty
    return Tags(
        title=job.title,
        composer=job.form.by,
        key=key,
        tempo=float(routine.tempos[-1]),
        comment=f"backing {__version__}, {font.name}: {job.recipe}",
        drill=job.drill,
        lyrics=chord_lines(routine),
        cover=partial(_cover, job, routine, key),
        marks=tuple(
            Mark(float(performance.clock.seconds(beat)), name)
            for beat, name in markers(performance)
        ),
    )


def _cover(job: Job, routine: Routine, key: str) -> bytes:
    from backing.sheet.cover import cover

    slow, fast = min(routine.tempos), max(routine.tempos)
    tempos = f"{float(slow):g}" + (f"-{float(fast):g}" if fast > slow else "")
    title = f"{job.form.title} {job.name}".rstrip()
    return cover(job.form, title, (f"{key} · {tempos} bpm", job.drill))


def _render(
    job: Job,
    routine: Routine,
    performance: Performance,
    font: SoundFont,
    progress: Progress | None,
) -> tuple[Path, ...]:
    from backing.mixdown.formats import sample_rate_of
    from backing.mixdown.mix import render, save

    tags = _tags(job, routine, performance, font)
    bank = _bank(font, sample_rate_of(job.target), job.threads)
    try:
        mixdown = render(performance, bank, stems=job.stems, progress=progress, threads=job.threads)
        return save(mixdown, job.target, tags=tags, bits=job.bits, names=_players(performance))
    finally:
        if bank.bytes_held > MOST_BANK_BYTES:
            _bank.cache_clear()


@lru_cache(maxsize=1)
def _bank(font: SoundFont, sample_rate: int, threads: int | None) -> Bank:
    """The notes of a SoundFont, which the next track of a batch finds rendered."""
    from backing.mixdown.bank import Bank

    return Bank(font, sample_rate, threads)


def _summary(job: Job, figures: str) -> str:
    """What was made, with what it is for."""
    drill = f"\n  drill: {job.drill}" if job.drill else ""
    return f"{job.form.title} -> {job.target}\n  {figures}{drill}"


def _figures(job: Job, routine: Routine, performance: Performance) -> str:
    """Length, tempos and seed."""
    seconds = round(performance.clock.length_seconds + performance.tail)
    played = [each for each in routine.passes if each.purpose is not Purpose.COUNT_IN]
    bars = sum(len(each.bars) for each in played)
    keys = routine.keys if job.request.key else (job.form.key,)
    named = str(keys[0]) if len(keys) == 1 else " ".join(key.short for key in keys)
    tempos = [f"{float(tempo):g}" for tempo in routine.tempos]
    if len(tempos) > MOST_TEMPOS_SHOWN:
        tempos = [*tempos[:3], "...", tempos[-1]]
    counted = f"{bars} bar{'s' * (bars != 1)}"
    figures = f"{seconds // 60}:{seconds % 60:02} min, {counted}, {' '.join(tempos)} bpm"
    values = dict.fromkeys(each.value for each in played if each.value)
    figures += f", {' '.join(values)}" if values else ""
    seam = ", repeats without a seam" if routine.seamless else ""
    return f"{figures}, {named}, seed {job.band.seed}{seam}"
