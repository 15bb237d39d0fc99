"""``backing take``: a recording of the player is held against the track."""

from __future__ import annotations

import json
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from backing.chart.form import Form
from backing.cli.parser import TUNES, Words, parse
from backing.cli.status import DONE, show, tell
from backing.cli.track import Order, read_order
from backing.cli.tunes import read_tune
from backing.combo.arrangement import arrange
from backing.errors import OutputError, UserError, quoted
from backing.memory import HEARING_BYTES, check_room
from backing.routine.routine import make_routine, separated
from backing.saving import check_writable, write_file

if TYPE_CHECKING:
    from backing.take.account import Account
    from backing.take.course import Course
    from backing.take.heard import Heard
    from backing.take.placing import Placement

PICTURES = (".svg", ".png", ".html")
PPI = 144
NOT_SURE = "Say where it begins with --starts-at, such as 'bar 3' or 0:12."


def take(words: Words) -> int:
    """Hear a take, and tell what to work on next."""
    check_room(HEARING_BYTES)
    output = _output(words)
    if not words.names and "log" in words:
        return _plot(words, output)
    if len(words.names) != 2:
        raise UserError(
            "A take needs the tune and the recording.",
            "Write backing take TUNE RECORDING, the track itself in place of TUNE if you like.",
        )
    what, recording = words.names
    form, order = _ordered(words, what)
    from backing.take.course import LINE, make_course
    from backing.take.hearing import hear

    routine = make_routine(form, order.request)
    course = make_course(routine, arrange(routine, order.band), order.band)
    around = _around(course, words.text("starts-at"))
    heard = hear(Path(recording))
    # a line of the track is the player's own as well: it would go with the band
    if heard.leaks and not is_tune(what) and course.kind != LINE:
        heard = _without_band(words, course, heard, around)
    for remark in heard.remarks if "quiet" not in words else ():
        tell(remark)
    if heard.refusal:
        return _not_judged(words, course, heard.refusal)
    heard = _at_tempo(words, course, heard)
    place = _placed(course, heard, around)
    if isinstance(place, str):
        return _not_judged(words, course, place)
    _told(words, course, heard, place, output)
    return DONE


def _told(
    words: Words, course: Course, heard: Heard, place: Placement, output: Path | None
) -> None:
    from backing.take import log
    from backing.take.account import account
    from backing.take.advice import advise
    from backing.take.report import as_data, as_text

    told = account(course, heard, place.offset)
    advice = advise(course, told)
    data = as_data(course, place, told, advice)
    tempo = course.bars[told.notes[-1].placed.bar].tempo if told.notes else course.bars[-1].tempo
    kept = log.entry(data, round(tempo, 1), datetime.now().astimezone().replace(tzinfo=None))
    text = as_text(course, place, told, advice)
    old = words.path("compare")
    if old is not None:
        text += "\n\n" + "\n".join(log.compared(log.latest(log.read(old), course.title), kept))
    if "json" in words:
        show(json.dumps(data, ensure_ascii=False, indent=1))
    else:
        show(text)
    if output is not None:
        _draw(output, course, place, told)
    logged = words.path("log")
    if logged is not None:
        log.keep(logged, kept)


def _not_judged(words: Words, course: Course, why: str) -> int:
    """Say why there is no account; it is no mistake of the user's."""
    if "json" in words:
        show(json.dumps({"format": 1, "title": course.title, "not_judged": why}))
    else:
        show(f"Not judged: {why}")
    return DONE


def _output(words: Words) -> Path | None:
    output = words.path("output")
    if output is None:
        return None
    if output.suffix.lower() not in PICTURES:
        raise OutputError(
            f"{output} isn't a name for a picture.", f"End it in {', '.join(PICTURES)}."
        )
    check_writable(output)
    return output


def _plot(words: Words, output: Path | None) -> int:
    from backing.take import log

    if output is None:
        raise UserError("Say where the plot of the log goes.", "Add -o weeks.svg.")
    drawn = log.plot(log.read(Path(words.said["log"])))
    _write(output, drawn, f"<!doctype html><meta charset=utf-8><title>Your takes</title>{drawn}")
    return DONE


def _ordered(words: Words, what: str) -> tuple[Form, Order]:
    """The tune, and what was played of it: from the words, or from the tags of a track."""
    path = Path(what)
    if is_tune(what):
        order = read_order(words)
        return read_tune(path), order
    from backing.take.track_tags import recipe_of

    if not path.exists():
        raise UserError(f"There is no file {path}.", "Name the tune, or the track you played over.")
    for option in words.command.groups[1].options:
        if option.name not in words or option.name == "quiet":
            continue
        raise UserError(
            f"The track says what it plays, so {option.spelled} would change nothing.",
            "Leave it out, or name the tune.",
        )
    recipe = recipe_of(path)
    if not recipe:
        raise UserError(
            f"{path} doesn't say which tune it plays.", "Name the tune file, and add its options."
        )
    again = parse(recipe)
    if len(again.names) != 1:
        raise UserError(f"{path} was made of bare changes.", "Make its track from a tune file.")
    tune = _found(Path(again.names[0]), path)
    form, order = read_tune(tune), read_order(again)
    if "separate" in again:
        order = _one_of(form, order, path)
    return form, order


def is_tune(name: str) -> bool:
    """Whether a name is that of a tune, not of a track."""
    return Path(name).suffix.lower() in (*TUNES, ".xml")


def _without_band(
    words: Words, course: Course, heard: Heard, around: tuple[str, float, float] | None
) -> Heard:
    """The take heard again without the track, where its place is sure; as it was, where not."""
    from backing.take.hearing import hear
    from backing.take.leakage import Leakage
    from backing.take.placing import tempo_ratio

    place = _placed(course, heard, around)
    if isinstance(place, str) or tempo_ratio(course, heard.notes) != 1:
        return heard
    track, recording = map(Path, words.names)
    again = hear(recording, Leakage(track, place.offset))
    if again.refusal:
        return heard
    if "quiet" not in words:
        tell("The band is heard in the recording, and was taken out of it as well as it can be.")
    return again


def _found(tune: Path, track: Path) -> Path:
    """The tune of a track: where it was, or beside the track."""
    for place in (tune, track.parent / tune, track.parent / tune.name):
        if place.exists():
            return place
    raise UserError(f"The tune of {track} isn't there any more: {tune}.", "Name the tune file.")


def _one_of(form: Form, order: Order, track: Path) -> Order:
    """The order of one of several tracks, which its name tells."""
    from dataclasses import replace

    for name, request in separated(form, order.request):
        if f"-{name.replace(' ', '-')}." in track.name:
            return replace(order, request=request)
    raise UserError(f"{track} is one of several.", "Name the tune file, and add its tempo or key.")


def _around(course: Course, text: str | None) -> tuple[str, float, float] | None:
    """What --starts-at says: "time" and seconds of the track at which the recording starts, or
    "bar" and the beats between which the first note lies."""
    if text is None:
        return None
    word = text.strip().lower()
    minutes, colon, seconds = word.partition(":")
    if colon and minutes.isdigit() and seconds.replace(".", "", 1).isdigit():
        at = 60 * int(minutes) + float(seconds)
        return "time", at - 0.6, at + 0.6
    label = word.removeprefix("bar").strip()
    bars = [bar for bar in course.bars if bar.label == label and bar.yours]
    if not bars:
        raise UserError(
            f"{quoted(text)} isn't a place in this track.",
            "Write a bar of it, such as 'bar 3', or a time, such as 0:12.",
        )
    return "bar", bars[0].start - 0.4, bars[0].end - 0.1


def _at_tempo(words: Words, course: Course, heard: Heard) -> Heard:
    """The take in the time of the track, at another tempo than which it may have been played."""
    from backing.take.placing import tempo_ratio

    ratio = tempo_ratio(course, heard.notes)
    if ratio == 1:
        return heard
    tempo = course.bars[-1].tempo
    if "quiet" not in words:
        tell(
            f"You play at {tempo * ratio:.0f} bpm, the track at {tempo:.0f}, which is allowed for."
        )
    return heard.at_speed(ratio)


def _placed(
    course: Course, heard: Heard, around: tuple[str, float, float] | None
) -> Placement | str:
    """Where the take lies; in words, why that can't be told."""
    from backing.take.placing import FEWEST, SURE, place

    if len(heard.notes) < (2 if around else FEWEST):
        return f"only {len(heard.notes)} notes were heard, too few to tell where you play."
    limits = None
    if around is not None:
        kind, low, high = around
        first = heard.notes[0].onset
        starts = [low, high] if kind == "time" else course.seconds_at([low, high]) - first
        limits = float(starts[0]), float(starts[1])
    found = place(course, heard.notes, around=limits)
    if found.moved:
        return _moved(found.moved)
    if around is not None:
        return found
    if found.fits < FITS:
        return f"the notes don't follow these changes: another tune, or another key? {NOT_SURE}"
    if found.sure < SURE:
        return f"not sure where in the form you begin ({found.sure:.0%}). {NOT_SURE}"
    return found


FITS = 3.0
"""Standard deviations by which a take must fit better than the same notes in another order."""


def _moved(half_steps: int) -> str:
    way = "up" if half_steps > 0 else "down"
    size = abs(half_steps)
    return (
        f"the notes would fit these changes {size} half step{'s' * (size != 1)} {way}: play the "
        "track in your key, or name it with --key."
    )


def _draw(output: Path, course: Course, place: Placement, told: Account) -> None:
    from backing.take.advice import advise
    from backing.take.picture import picture
    from backing.take.report import as_html, where

    drawn = picture(course, told, where(course, place, told))
    page = as_html(course, place, told, advise(course, told))
    _write(output, drawn, page)


def _write(output: Path, drawn: str, page: str) -> None:
    """A picture as SVG or PNG, or the page around it."""
    if output.suffix.lower() == ".html":
        write_file(output, page.encode())
    elif output.suffix.lower() == ".svg":
        write_file(output, drawn.encode())
    else:
        from backing.sheet.typesetting import typeset

        (png,) = typeset("picture.typ", {}, {"picture.svg": drawn}, "png", ppi=PPI)
        write_file(output, png)
