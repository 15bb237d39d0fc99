"""One track: what it takes to make it, anywhere, and the making."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from contextlib import nullcontext
from dataclasses import dataclass, replace
from functools import lru_cache, partial
from pathlib import Path
from typing import TYPE_CHECKING

from backing import __version__
from backing.aside import beside, meanwhile
from backing.chart.form import Form
from backing.chart.text.writer import write
from backing.combo.band import Band
from backing.combo.feel_file import load_feel, use_feel_texts
from backing.combo.markers import markers
from backing.combo.performance import Performance, check_length
from backing.errors import TOO_LITTLE_MEMORY, MachineError, OutputError
from backing.routine import Purpose
from backing.routine.request import Request
from backing.routine.routine import Routine, make_routine
from backing.saving import check_writable, write_file

if TYPE_CHECKING:
    from backing.mixdown.bank import Bank
    from backing.mixdown.soundfont import SoundFont
    from backing.mixdown.tags import Tags

MIDI_SUFFIXES = (".mid", ".midi")
EXACT_SUFFIXES = (".wav", ".flac")
MOST_TEMPOS_SHOWN = 6
MOST_BARS_SENT = 1000
"""From process to process: an hour of music takes longer to send than the mixdown to load."""
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
    text, where it is not made by the process that read the tune.
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

    @property
    def midi(self) -> bool:
        """Whether it is written as notes, not as sound."""
        return self.target.suffix.lower() in MIDI_SUFFIXES

    @property
    def title(self) -> str:
        """The title of the tune, and what tells this track from others of it."""
        return f"{self.form.title} {self.name}".rstrip()


@dataclass(frozen=True, slots=True)
class Made:
    """The files of a track, the mix first, and what there is to say of them."""

    paths: tuple[Path, ...]
    summary: str


def make(job: Job, progress: Progress | None = None) -> Made:
    """Make a track; ``progress`` is told how much is done, from 0 to 1. Raises UserError."""
    try:
        with use_feel_texts(dict(job.feels)):
            return _made(job, progress)
    except MemoryError:
        raise MachineError(*TOO_LITTLE_MEMORY) from None


def packed(job: Job) -> Job:
    """The job with its feel files, to be made where they may not be seen. Raises FeelError."""
    return replace(job, feels=tuple(_feel_files(job).items()))


def _feel_files(job: Job) -> dict[str, str]:
    """Path and text of every feel file that the notes follow from."""
    named = {*job.form.feel_places(), *([job.band.feel] if job.band.feel else [])}
    return {path: text for name in sorted(named) for path, text in load_feel(name).files.items()}


def _made(job: Job, progress: Progress | None) -> Made:
    _check(job)
    routine = make_routine(job.form, job.request)
    performance = _arranged(job, routine)
    if not job.long:
        check_length(performance)
    summary = _summary(job, routine, performance)
    if job.midi:
        from backing.midi import to_bytes

        write_file(job.target, to_bytes(performance))
        return Made((job.target,), summary)
    paths, sound = _audio(job, routine, performance, progress)
    return Made(paths, summary + sound)


def _arranged(job: Job, routine: Routine) -> Performance:
    """What the band plays, arranged on another processor while the mixdown is loaded."""
    long = sum(len(each.bars) for each in routine.passes) > MOST_BARS_SENT
    if job.midi or long or (job.threads or os.cpu_count()) == 1:
        return _played(routine, job.band)
    with meanwhile(partial(_played, routine, job.band)) as played:
        # the mixdown takes as long to load as a tune to arrange
        from backing.mixdown.audio_file import sample_rate_of
        from backing.mixdown.soundfont import choose
        from backing.mixdown.synth import load_library

        bank = _bank(choose(job.soundfont), sample_rate_of(job.target), job.threads, job.cached)
        with beside(load_library) if bank.cold else nullcontext():
            import backing.mixdown.mix
            import backing.mixdown.tags  # noqa: F401

            return played()


def _played(routine: Routine, band: Band) -> Performance:
    from backing.combo.arrangement import arrange

    return arrange(routine, band)


def _check(job: Job) -> None:
    check_writable(job.target)
    suffix = job.target.suffix.lower()
    if job.bits != 16 and suffix not in EXACT_SUFFIXES:
        raise OutputError(f"{job.target} has no {job.bits} bits.", "Choose .wav or .flac for them.")
    if job.soundfont and job.midi:
        raise OutputError(
            f"{job.target} holds notes, which no SoundFont plays.",
            "Leave out --soundfont for MIDI.",
        )
    if job.stems and job.midi:
        raise OutputError(
            f"{job.target} holds a track for each part already.", "Leave out --stems for MIDI."
        )


def _audio(
    job: Job, routine: Routine, performance: Performance, progress: Progress | None
) -> tuple[tuple[Path, ...], str]:
    """Take from the cache or render; returns the files, and what the summary says of the sound."""
    from backing.mixdown import audio_file
    from backing.mixdown.soundfont import choose

    audio_file.check_writable(job.target)
    font = choose(job.soundfont)
    sound = f"\n  sound: {font.name} ({font.licence})"
    if not job.cached:
        return _render(job, routine, performance, font, progress), sound
    from backing.mixdown.cache import key_of, user_cache

    cache, key = user_cache(), key_of(_inputs(job, performance, font))
    paths = cache.fetch(key, job.target)
    if paths is not None:
        return paths, f"{sound}, made before: it comes from the cache"
    paths = _render(job, routine, performance, font, progress)
    cache.keep(key, paths)
    return paths, sound


def _inputs(job: Job, performance: Performance, font: SoundFont) -> Iterator[str | bytes]:
    """All that the bytes of a track follow from, and the names of its stems, but not its own."""
    yield write(job.form)
    yield repr(job.request)
    band = job.band
    yield repr((sorted(band.players), band.seed, band.feel, band.swing, band.comp))
    yield repr((band.guide_line, band.click))
    yield repr(_players(performance))
    yield repr(band.line)
    yield repr(sorted(_feel_files(job).items()))
    state = font.path.stat()
    yield repr((str(font.path.resolve()), state.st_size, state.st_mtime_ns))
    yield repr((job.target.suffix.lower(), job.bits, job.stems, job.title, job.recipe, job.drill))


def _players(performance: Performance) -> dict[str, str]:
    """What each part is called where the user meets it."""
    return {part: performance.player(part) for part in performance.part_names}


def _tags(job: Job, routine: Routine, performance: Performance, font: SoundFont) -> Tags:
    from backing.mixdown.marks import Mark
    from backing.mixdown.tags import Tags

    key = (routine.keys[0] if len(routine.keys) == 1 else routine.form.key).pretty
    return Tags(
        title=job.title,
        key=key,
        tempo=float(routine.tempos[-1]),
        comment=f"backing {__version__}, {font.name}: {job.recipe}",
        drill=job.drill,
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
    return cover(job.form, job.title, (f"{key} · {tempos} bpm", job.drill))


def _render(
    job: Job,
    routine: Routine,
    performance: Performance,
    font: SoundFont,
    progress: Progress | None,
) -> tuple[Path, ...]:
    from backing.mixdown.audio_file import sample_rate_of
    from backing.mixdown.mix import render, save

    tags = _tags(job, routine, performance, font)
    bank = _bank(font, sample_rate_of(job.target), job.threads, job.cached)
    try:
        mixdown = render(performance, bank, stems=job.stems, progress=progress, workers=job.threads)
        return save(mixdown, job.target, tags=tags, bits=job.bits, names=_players(performance))
    finally:
        if bank.bytes_held > MOST_BANK_BYTES:
            _bank.cache_clear()


@lru_cache(maxsize=1)
def _bank(font: SoundFont, sample_rate: int, threads: int | None, kept: bool) -> Bank:
    """The notes of a SoundFont, which the next track of a batch finds rendered.

    ``kept``: any later track, too.
    """
    from backing.mixdown.bank import Bank

    if not kept:
        return Bank(font, sample_rate, threads)
    from backing.mixdown.note_store import user_store

    return Bank(font, sample_rate, threads, user_store(font, sample_rate))


def _summary(job: Job, routine: Routine, performance: Performance) -> str:
    """File, length, tempos and seed."""
    seconds = round(performance.clock.length_seconds + performance.tail)
    played = [each for each in routine.passes if each.purpose is not Purpose.COUNT_IN]
    bars = sum(len(each.bars) for each in played)
    keys = " ".join(key.short for key in routine.keys) if job.request.key else str(job.form.key)
    tempos = [f"{float(tempo):g}" for tempo in routine.tempos]
    if len(tempos) > MOST_TEMPOS_SHOWN:
        tempos = [*tempos[:3], "...", tempos[-1]]
    counted = f"{bars} bar{'s' * (bars != 1)}"
    figures = f"{seconds // 60}:{seconds % 60:02} min, {counted}, {' '.join(tempos)} bpm"
    values = dict.fromkeys(each.value for each in played if each.value)
    figures += f", {' '.join(values)}" if values else ""
    seam = ", repeats without a seam" if routine.seamless else ""
    drill = f"\n  drill: {job.drill}" if job.drill else ""
    figures += f", {keys}, seed {job.band.seed}{seam}"
    return f"{job.form.title} -> {job.target}\n  {figures}{drill}"
