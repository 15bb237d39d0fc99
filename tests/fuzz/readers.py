"""Cases for the readers of files: tunes, lessons, feels, MusicXML, SoundFonts, the cache."""

from __future__ import annotations

import io
import json
import os
import random
import shutil
import struct
import tempfile
import zipfile
from collections import Counter
from functools import cache
from pathlib import Path

import backing
from backing.chart.form import Form
from backing.chart.musicxml import read as read_musicxml
from backing.chart.musicxml import write as write_musicxml
from backing.chart.text.tune_file import read, read_file, write
from backing.cli.assignment import VOCABULARY, Reader
from backing.combo.arrangement import arrange
from backing.combo.band import Band
from backing.combo.bass.style import read_bass_style
from backing.combo.comp.style import read_comp_style
from backing.combo.drums.style import read_drum_style
from backing.combo.feel_check import feel_faults
from backing.combo.feel_file import FEELS, parse_feel
from backing.combo.instruments import ACOUSTIC_BASS, STANDARD_KIT
from backing.errors import UserError
from backing.lesson.lesson_file import read_file as read_lesson
from backing.midi import to_bytes
from backing.mixdown.cache import ABOUT, SUMS, Cache
from backing.mixdown.sample_subset import loadable
from backing.mixdown.soundfont import _built_in, read_soundfont
from backing.routine.request import Request
from backing.routine.routine import make_routine
from tests.fuzz.harness import Target, Wrong
from tests.fuzz.mutation import damaged, encoded, rearranged

ROOT = Path(backing.__file__).parents[1]


@cache
def folder() -> Path:
    """Where cases are written that are read as files; in memory where there is such a place."""
    memory = Path("/dev/shm")
    place = memory if os.access(memory, os.W_OK) else None
    return Path(tempfile.mkdtemp(prefix="backing-fuzz-", dir=place))


# ---- tunes -----------------------------------------------------------------------------------

SMALL = b"title: S\nkey: C\ntempo: 180\n\nsection A\n| Dm7 | G7 | Cmaj7 | % |\n"
TUNES = [SMALL, *(path.read_bytes() for path in sorted((ROOT / "tunes").glob("*.tune")))]
SHORT = [
    SMALL,
    (
        b"key: F\nhead: A B A\nsection A\n|: F6 | [1] Gm7 C7 :| [2] F6 D7b9 |\n"
        b"solos: | | C7 | |\nhits 1: 1 2& 4&\nsection B = A\nbars 1-2: | Am7b5 | D7 |\n"
        b"push 2: 1\n"
    ),
    (
        b"title: T # note\nkey: G minor\nmeter: 6/8\ntempo: 90\nfeel: waltz\npickup: | D7 |\n"
        b"section intro\n| Gm | % | %% |\npedal 1-2: D\nsection A  meter: 3/4  tempo: x2\n"
        b"| Cm7 | F7 |\nbreak 2: 1\nlay out 1: comp bass\nstop-time 1: 1\n"
    ),
]
"""Tunes of a few bars with all that a line can be."""
TUNE_WORDS = encoded((
    "| ", "|", "|:", ":|", ":|:", ":| x3", "||", "%", "%%", "N.C.", "/", "//", "[1]", "[1,2]",
    "[1-3]", "[99-1]", "(b9)", "#11", "C7 (b9 #11)", "F#m7b5/B", "Hm7", "C/E", "A##", "Bbb13",
    "title: ", "by: ", "key: ", "key: G minor\n", "meter: 7/4\n", "meter: 6/8\n", "tempo: ",
    "feel: ", "feel: bossa\n", "feel: x.toml\n", "head: A A B A\n", "solos: A:1-2\n", "notes: ",
    "head out: A coda\n",
    "section ", "section B = A\n", "section A2 = A\n", "bars 1-2: | C | D |\n",
    "solos: | | C |\n", "pickup: | D7 |\n", "hits 1: 1 2& 4&\n", "break 2: 1\n", "push 1: 3\n",
    "stop-time 1-4: 1\n", "pedal 1-8: G\n", "lay out 1-4: comp\n", "late 1: 1 by a quarter\n",
    "# ", "\n", "\n\n", "\r\n", " x1/2", "  tempo: x4  meter: 3/4  key: F  feel: two\n", ":", "=",
))  # fmt: skip


def _tune(rng: random.Random) -> bytes:
    if rng.random() < 0.15:
        return b"".join(rng.choices((*TUNE_WORDS, b"C ", b"Dm7 ", b"G7 | "), k=rng.randrange(40)))
    if rng.random() < 0.5:
        return rearranged(rng, rng.choice(SHORT), TUNE_WORDS)
    return damaged(rng, SHORT * 12 + TUNES, TUNE_WORDS)


def _read_tune(data: bytes) -> str:
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError:
        path = folder() / "x.tune"
        path.write_bytes(data)
        read_file(path, feel_faults=feel_faults)
        return "read"
    form = read(text, "x.tune", folder=str(folder()), feel_faults=feel_faults)
    again = read(write(form), "x.tune", folder=str(folder()), feel_faults=feel_faults)
    if again != form:
        raise Wrong("what is written is not read as the same")
    if len(data) % 100 == 7:
        return _played(form)
    return "read"


def _played(form: Form) -> str:
    """As many bars as fit are played, into MIDI."""
    if sum(1 for _ in form.played("head")) > 64:
        return "read"
    performance = arrange(make_routine(form, Request(choruses=1)), Band(seed=1))
    if not to_bytes(performance).startswith(b"MThd"):
        raise Wrong("no MIDI")
    return "read and played"


# ---- lessons ---------------------------------------------------------------------------------

LESSON_SEEDS = [
    b'tunes = ["s.tune"]\n[[student]]\nname = "A"\n',
    (ROOT / "tunes" / "week.toml")
    .read_bytes()
    .replace(b"corner-booth", b"s")
    .replace(b"paper-route-blues", b"s"),
]
LESSON_WORDS = encoded((
    "[[task]]\n", "[[student]]\n", "[[student.task]]\n", "[task]\n", 'tunes = ["s.tune"]\n',
    'tune = "gone.tune"\n', "track = false\n", "midi = true\n", "gap = 3\n", "gap = nan\n",
    'bars = "1-2"\n', 'bars = "A"\n', 'climb = "60%"\n', "climb = 60\n", "times = 2\n",
    'tempo = "80 100"\n', "tempo = 1e400\n", 'key = "fourths"\n', 'line = "etude level 2"\n',
    'line = "bass"\n', 'line = "guide and etude"\n', 'neck = "left-handed"\n', 'part = "Eb"\n',
    'part = "bass"\n', 'trade = "4 with line"\n', 'arpeggios = "G"\n', 'changes = "Dm7 | G7"\n',
    'without = "comp"\n', 'only = "bass"\n', "shapes = true\n", "stems = true\n",
    "due = 2026-12-14\n",
    'name = "\\u0000"\n', "minutes = -1\n", "= ", '"', "'''", '"""',
    "[", "]", "{", "}", "#", "\n",
))  # fmt: skip


def _lesson(rng: random.Random) -> bytes:
    if rng.random() < 0.5:
        return rearranged(rng, rng.choice(LESSON_SEEDS), LESSON_WORDS)
    return damaged(rng, LESSON_SEEDS, LESSON_WORDS)


def _read_lesson(data: bytes) -> str:
    """All that is asked of all students, or all mistakes of it."""
    (folder() / "s.tune").write_bytes(SMALL)
    path = folder() / "x.toml"
    path.write_bytes(data)
    lesson = read_lesson(path, VOCABULARY)
    found = Reader(lesson).assignments()
    lesson.source.finish()
    if any(not exercise.what for each in found for exercise in each.exercises):
        raise Wrong("a task without a word for it")
    return "read"


# ---- feels -----------------------------------------------------------------------------------

BARE = b"""\
name = "x"
sentence = "X."
like = "swing"
[bass]
like = "swing"
roots = 0.5
[comp]
like = "two"
hold = 0.2
"""
FEEL_SEEDS = [
    BARE,
    *((FEELS / f"{name}.toml").read_bytes() for name in ("swing", "bossa", "waltz")),
]
FEEL_WORDS = encoded((
    "[", "]", "[[", "]]", "{", "}", "=", '"', "'", '"""', "\n", ",", "a.b.c = 1\n", "nan", "-inf",
    "[time]\n", "[bass]\n", "[comp]\n", "[drums]\n", "[drums.levels]\n", "[time.lateness_ms]\n",
    'like = "', 'like = "x.toml"\n', 'like = "\\u0000"\n', "cells = [", '{play = "1- 2&:60%"}',
    "velocity = [nan, nan]\n", "fullness = [1e308, inf]\n", "weight = nan", "swing = nan\n",
    "1979-05-27", "07:32:00", "true", "[]", "{}", "1&:110-220bpm", "(2&)", "99999&", "x" * 200,
    "[[drums.ride]]\n", "[" * 300, "a." * 2000, "\\uD800", "\\U0010FFFF",
))  # fmt: skip


def _feel(rng: random.Random) -> bytes:
    if rng.random() < 0.6:
        return rearranged(rng, rng.choice(FEEL_SEEDS[:1] * 5 + FEEL_SEEDS), FEEL_WORDS)
    return damaged(rng, FEEL_SEEDS[:1] * 6 + FEEL_SEEDS, FEEL_WORDS)


def _read_feel(data: bytes) -> str:
    if len(data) % 50 == 7 or not data.isascii():
        path = folder() / "x.toml"
        path.write_bytes(data)
        faults = feel_faults(str(path))
        if faults:
            raise faults[0]
        return "read"
    feel = parse_feel(data.decode("ascii"), str(folder() / "x.toml"))
    read_bass_style(feel)
    read_comp_style(feel)
    read_drum_style(feel)
    if len(data) % 100 == 3:
        return _played_with(data)
    return "read"


def _played_with(data: bytes) -> str:
    """Four bars with a feel that was read."""
    path = folder() / "y.toml"
    path.write_bytes(data)
    form = read(SMALL.decode(), "x.tune")
    try:
        performance = arrange(make_routine(form, Request(choruses=1)), Band(feel=str(path)))
    except UserError:
        return "read, not for 4/4"
    to_bytes(performance)
    return "read and played"


# ---- MusicXML --------------------------------------------------------------------------------


@cache
def _scores() -> list[bytes]:
    texts = [SMALL.decode(), *(tune.decode() for tune in TUNES[1:4])]
    return [write_musicxml(read(text, "x.tune")).encode() for text in texts]


XML_WORDS = encoded((
    "<", ">", "/>", "</", "&", "&#0;", "&#x110000;", "&lol;", "<!DOCTYPE x [<!ENTITY a 'b'>]>",
    '<?xml version="1.0" encoding="klingon"?>', '<?xml version="1.0" encoding="utf-16"?>',
    '<?xml version="1.1"?>',  "<![CDATA[", "]]>", "<!--",
    '<repeat direction="backward" times="100"/>', '<repeat direction="forward"/>',
    '<ending number="1, 2" type="start"/>', "<harmony>",
    "<degree><degree-value>9</degree-value><degree-type>add</degree-type></degree>",
    "<degree-alter>1e8</degree-alter>", "<degree-value>5000</degree-value>",
    "<root-alter>nan</root-alter>", "<offset>-99999999</offset>", "<divisions>0</divisions>",
    "<fifths>-99</fifths>", "<beats>3+2</beats>", "<backup><duration>1e9</duration></backup>",
    "<transpose><diatonic>-99</diatonic><chromatic>-9999</chromatic></transpose>",
    '<sound tempo="0"/>', '<sound dacapo="yes"/>', '<sound tocoda="x"/>', '<sound fine="1"/>',
    "<measure/>", '<measure number="">', "<part>", "<kind>other</kind>",
    '<kind text="7alt">none</kind>',
    "score-timewise", "<a>" * 300, "<direction><direction-type><rehearsal>A</rehearsal>",
))  # fmt: skip


def _score(rng: random.Random) -> bytes:
    data = rng.choice(_scores()[:1] * 4 + _scores())
    if rng.random() < 0.2:
        return damaged(rng, [_zipped(rng, data)], encoded(("PK\3\4", "PK\1\2", "PK\5\6")))
    if rng.random() < 0.4:
        return _rearranged(rng, data)
    return damaged(rng, [data], XML_WORDS)


def _rearranged(rng: random.Random, data: bytes) -> bytes:
    """Whole elements doubled, moved and left out, so that it stays XML."""
    lines = data.splitlines(keepends=True)
    for _ in range(rng.choice((1, 2, 4, 9))):
        first = rng.randrange(6, len(lines))
        indent = len(lines[first]) - len(lines[first].lstrip())
        last = first + 1
        while last < len(lines) and len(lines[last]) - len(lines[last].lstrip()) > indent:
            last += 1
        piece = lines[first : last + (last < len(lines) and last > first + 1)]
        to = rng.randrange(6, len(lines))
        if rng.random() < 0.3:
            lines[first : first + len(piece)] = []
        elif rng.random() < 0.6:
            lines[to:to] = piece * rng.choice((1, 1, 3))
        else:
            lines[to:to] = [rng.choice(XML_WORDS), b"\n"]
        if len(lines) < 8:
            break
    return b"".join(lines)


def _zipped(rng: random.Random, data: bytes) -> bytes:
    file = io.BytesIO()
    way = rng.choice(
        (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED, zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA)
    )
    with zipfile.ZipFile(file, "w", way) as archive:
        named = rng.choice(("score.xml", "score.xml", "../x.xml", "nowhere.xml", ""))
        archive.writestr(
            "META-INF/container.xml",
            f'<container><rootfiles><rootfile full-path="{named}"/></rootfiles></container>',
        )
        archive.writestr("score.xml", data)
    packed = bytearray(file.getvalue())
    if rng.random() < 0.3:  # encrypted, or packed in a way nobody knows
        at = packed.rfind(b"PK\1\2")
        packed[at + rng.choice((8, 10))] ^= rng.choice((1, 9, 97))
    return bytes(packed)


def _read_score(data: bytes) -> str:
    path = folder() / "x.musicxml"
    if len(data) % 20 == 7:
        from backing.chart.musicxml import read_file as from_file

        path.write_bytes(data)
        form = from_file(path)
    else:
        form = read_musicxml(data, "x")
    if read(write(form), form.title) != form:
        raise Wrong("what is written is not read as the same")
    return "read"


# ---- SoundFonts ------------------------------------------------------------------------------


def _chunk(name: bytes, data: bytes) -> bytes:
    return name + struct.pack("<I", len(data)) + data + b"\0" * (len(data) % 2)


@cache
def _fonts() -> list[bytes]:
    """A small SoundFont with the tables of a real one, as SF2 and as SF3."""
    whole = _built_in()[0].read_bytes()
    pdta = whole[whole.rfind(b"pdta") + 4 :]
    fonts = []
    for version in (2, 3):
        info = _chunk(b"ifil", struct.pack("<HH", version, 1)) + _chunk(b"INAM", b"Small\0")
        lists = _chunk(b"LIST", b"INFO" + info)
        lists += _chunk(b"LIST", b"sdta" + _chunk(b"smpl", bytes(64)))
        lists += _chunk(b"LIST", b"pdta" + (pdta if version == 3 else _few_presets(pdta)))
        fonts.append(_chunk(b"RIFF", b"sfbk" + lists))
    return fonts


def _few_presets(pdta: bytes) -> bytes:
    size = struct.unpack("<I", pdta[4:8])[0]
    headers = pdta[8 : 8 + size]
    rows = [headers[i : i + 38] for i in range(0, size, 38)]
    drums = [row for row in rows if struct.unpack("<H", row[22:24])[0] == 128][:1]
    return _chunk(b"phdr", b"".join((*rows[:40], *drums, rows[-1])))


def _font(rng: random.Random) -> bytes:
    font = rng.choice((_fonts()[0],) * 3 + (_fonts()[1],))
    data = bytearray(font)
    if rng.random() < 0.5:  # lengths and names of chunks
        for _ in range(rng.choice((1, 2, 4))):
            name = rng.choice(
                (b"LIST", b"RIFF", b"phdr", b"INAM", b"ifil", b"smpl", b"shdr", b"inst")
            )
            at = data.find(name)
            if at >= 0:
                new = rng.choice((0, 1, 0xFFFFFFFF, 0x7FFFFFFF, rng.randrange(1 << 17)))
                data[at + 4 : at + 8] = struct.pack("<I", new)
        return bytes(data)
    words = encoded(("LIST", "INFO", "pdta", "phdr", "INAM", "\0\0", "\xff\xff\xff\xff", "sfbk"))
    return damaged(rng, [bytes(data)], words)


def _read_font(data: bytes) -> str:
    path = folder() / "x.sf3"
    path.write_bytes(data)
    font = read_soundfont(path)
    for instrument in (ACOUSTIC_BASS, STANDARD_KIT):
        font.preset_for(instrument)
    with loadable(font, [(0, 32, 40, 80), (128, 0, 36, 100), (0, 0, 60, 64)]) as there:
        there.stat()
    if not font.name.isprintable() and len(font.name) > 300:
        raise Wrong("a name of that length")
    return "read"


# ---- the cache -------------------------------------------------------------------------------

MIX, STEM = b"RIFF" + bytes(400), b"RIFF" + bytes(range(200))
SHAPES: tuple[object, ...] = (
    {}, [], None, 1, "x", {"track.wav": 1}, {"track.wav": None}, {"": ""}, {"../x": "y"},
    {"track.wav": {}}, {"/etc/passwd": "x"}, {"track/.wav": "x"}, {"track.wav\0": "x"}, [[]],
    {"track-..wav": ""}, {"sums.json": "x"}, {"track.mp3": "x"}, {"track": "x"},
)  # fmt: skip


def _damage(rng: random.Random) -> bytes:
    """What is done to an entry, as JSON: which file, and what it is now (hex), or a word for it."""
    file = rng.choice((SUMS, SUMS, SUMS, ABOUT, "track.wav", "track-bass.wav", ""))
    what = rng.choice(
        ("gone", "folder", "link", "fifo", "shape", "shape", "bytes", "bytes", "deep")
    )
    seeds = [b'{"track.wav": "00", "track-bass.wav": "11"}', MIX, STEM]
    data = damaged(rng, seeds, encoded(("{", "}", "[", '"track.wav"', ":", "null")))
    return json.dumps(
        {"file": file, "what": what, "shape": rng.randrange(len(SHAPES)), "data": data[:5000].hex()}
    ).encode()


def _fetch(data: bytes) -> str:
    asked = json.loads(data)
    place = folder() / "cache"
    shutil.rmtree(place, ignore_errors=True)
    (place / "out").mkdir(parents=True)
    mix, stem = place / "a.wav", place / "a-bass.wav"
    mix.write_bytes(MIX)
    stem.write_bytes(STEM)
    kept = Cache(place / "kept")
    kept.keep("key", [mix, stem], "0:01 min")
    _harm(kept.folder / "key" / asked["file"], asked)
    target = place / "out" / "b.wav"
    target.write_bytes(b"old")
    found = kept.fetch("key", target)
    kept.about("key")
    kept.entries()
    there = Counter(path.name for path in target.parent.iterdir())
    if found is None:
        if target.read_bytes() != b"old" or there != Counter(["b.wav"]):
            raise Wrong(f"a miss changed something: {sorted(there)}")
        if os.path.lexists(kept.folder / "key"):
            raise Wrong("a harmed entry is still there")
        kept.keep("key", [mix, stem])
        if kept.fetch("key", target) is None:
            raise Wrong("the place of a harmed entry cannot be used again")
        return "a miss"
    if target.read_bytes() != MIX or not all(path.is_file() for path in found):
        raise Wrong("a hit that is not what was kept")
    return "a hit"


def _harm(path: Path, asked: dict[str, object]) -> None:
    if path.is_dir():
        shutil.rmtree(path)
    else:
        path.unlink(missing_ok=True)
    match asked["what"]:
        case "folder":
            path.mkdir()
        case "link":
            path.symlink_to(path if int(str(asked["shape"])) % 2 else folder() / "nowhere")
        case "fifo":
            os.mkfifo(path)
        case "shape":
            path.write_text(json.dumps(SHAPES[int(str(asked["shape"]))]))
        case "deep":
            path.write_text("[" * 50_000)
        case "bytes":
            path.write_bytes(bytes.fromhex(str(asked["data"])))


TARGETS = (
    Target("tunes", _tune, _read_tune),
    Target("lessons", _lesson, _read_lesson),
    Target("feels", _feel, _read_feel),
    Target("musicxml", _score, _read_score),
    Target("soundfonts", _font, _read_font),
    Target("cache", _damage, _fetch),
)
