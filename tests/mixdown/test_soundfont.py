"""SoundFonts: what is read from them, which is chosen, and what is said of bad files."""

from __future__ import annotations

import random
import struct
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from backing.combo.instruments import (
    ACOUSTIC_BASS,
    BRUSH_KIT,
    BRUSH_SLAP,
    BRUSH_SWIRL,
    JAZZ_KIT,
    SNARE,
    TENOR_SAX,
)
from backing.errors import SoundFontError
from backing.mixdown import sample_subset
from backing.mixdown import soundfont as soundfont_module
from backing.mixdown.loops import BLOCK
from backing.mixdown.soundfont import Preset, choose, find_soundfonts, read_soundfont
from backing.mixdown.synth import KeyEvent, Synth


def chunk(name: bytes, data: bytes) -> bytes:
    return name + struct.pack("<I", len(data)) + data + b"\0" * (len(data) % 2)


def soundfont_bytes(
    presets: list[tuple[int, int, str]], *, info: dict[bytes, bytes], padding: int = 0
) -> bytes:
    """A SoundFont without samples, by the layout of the specification 2.04, section 4."""
    rows = [*presets, (0, 0, "EOP")]
    phdr = b"".join(
        struct.pack("<20sHHH3I", name.encode(), program, bank, 0, 0, 0, 0)
        for bank, program, name in rows
    )
    texts = chunk(b"ifil", struct.pack("<HH", 2, 1))
    texts += b"".join(chunk(name, text + b"\0") for name, text in info.items())
    body = chunk(b"LIST", b"INFO" + texts)
    body += chunk(b"LIST", b"sdta" + chunk(b"smpl", b"\0" * padding))
    body += chunk(b"LIST", b"pdta" + chunk(b"phdr", phdr))
    return b"RIFF" + struct.pack("<I", len(body) + 4) + b"sfbk" + body


BAND = [(0, 0, "Piano"), (0, 32, "Bass"), (0, 64, "Soprano Sax"), (128, 0, "Standard")]


def write(folder: Path, name: str, **changes: bytes) -> Path:
    path = folder / name
    info = {b"INAM": b"Ours", **{key.encode(): text for key, text in changes.items()}}
    path.write_bytes(soundfont_bytes(BAND, info=info))
    return path


@pytest.fixture
def nowhere(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A machine without SoundFonts but for those in this folder's ``soundfonts``."""
    places = (("lies in the folder soundfonts", (tmp_path / "soundfonts",)),)
    monkeypatch.setattr(soundfont_module, "_places", lambda: places)
    monkeypatch.setattr(soundfont_module, "_built_in", list)
    (tmp_path / "soundfonts").mkdir()
    return tmp_path / "soundfonts"


def test_presets_name_and_kind(tmp_path: Path) -> None:
    font = read_soundfont(write(tmp_path, "a.sf2"))
    assert font.name == "Ours"
    assert font.presets == {Preset(*preset) for preset in BAND}
    assert font.complete
    assert not font.compressed


@pytest.mark.parametrize(
    ("text", "licence", "free"),
    [
        (b"Licensed under the MIT License.", "MIT", True),
        (b"CC0 samples", "CC0 / public domain", True),
        (b"GNU General Public License", "GPL", False),
        (b"CC BY-NC 4.0", "Creative Commons, non-commercial", False),
        (b"Creative Commons Attribution 4.0", "CC BY", True),
        (b"all mine", "not stated", None),
    ],
)
def test_licence_is_read_from_the_file(
    tmp_path: Path, text: bytes, licence: str, free: bool | None
) -> None:
    font = read_soundfont(write(tmp_path, "a.sf2", ICMT=text))
    assert (font.licence, font.free_to_give) == (licence, free)


def test_the_licences_of_well_known_soundfonts(tmp_path: Path) -> None:
    # as the Debian packages fluid-soundfont, musescore-general-soundfont and timgm6mb-soundfont say
    for name, licence, free in (
        ("FluidR3_GM.sf2", "MIT", True),
        ("MuseScore_General.sf3", "MIT", True),
        ("TimGM6mb.sf2", "GPL-2", False),
    ):
        font = read_soundfont(write(tmp_path, name))
        assert (font.licence, font.free_to_give) == (licence, free)


def bad_files(folder: Path) -> dict[str, Path]:
    whole = soundfont_bytes(BAND, info={}, padding=1000)
    contents = {
        "empty": b"",
        "text": b"Dear player,\nthis is no SoundFont at all.\n",
        "noise": random.Random(1).randbytes(5000),
        "wave": b"RIFF" + struct.pack("<I", 40) + b"WAVE" + b"\0" * 36,
        "short": whole[: len(whole) // 2],
        "header only": whole[:7],
        "no presets": soundfont_bytes([], info={}),
    }
    paths = {name: folder / f"{name}.sf2" for name in contents}
    for name, data in contents.items():
        paths[name].write_bytes(data)
    return paths | {"folder": folder, "missing": folder / "nothing.sf2"}


@pytest.mark.parametrize(
    ("bad", "words"),
    [
        ("empty", "is empty"),
        ("text", "is not a SoundFont"),
        ("noise", "is not a SoundFont"),
        ("wave", "is not a SoundFont"),
        ("short", "is cut short"),
        ("header only", "is not a SoundFont"),
        ("no presets", "without any sound"),
        ("folder", "is a folder"),
        ("missing", "does not exist"),
    ],
)
def test_a_bad_file_is_named_with_what_to_do(tmp_path: Path, bad: str, words: str) -> None:
    path = bad_files(tmp_path)[bad]
    for use in (read_soundfont, choose, find_soundfonts):
        with pytest.raises(SoundFontError) as caught:
            use(path)
        assert words in caught.value.cause
        assert str(path) in caught.value.cause
        assert caught.value.cure.endswith(".")
        assert "\n" not in str(caught.value)


def test_bad_files_in_a_folder_are_passed_over(nowhere: Path) -> None:
    bad_files(nowhere)
    good = write(nowhere, "good.sf2")
    assert [font.path for font in find_soundfonts()] == [good]


def test_nothing_found_is_said_with_a_cure(nowhere: Path) -> None:
    assert find_soundfonts() == ()
    with pytest.raises(SoundFontError, match="No SoundFont was found"):
        choose()


def test_the_better_known_comes_first_and_the_incomplete_last(nowhere: Path) -> None:
    for name in ("TimGM6mb.sf2", "other.sf2", "MuseScore_General.sf3", "FluidR3_GM.sf2"):
        write(nowhere, name)
    lone = nowhere / "MuseScore_General piano.sf2"
    lone.write_bytes(soundfont_bytes([(0, 0, "Piano")], info={}))
    names = [font.path.stem for font in find_soundfonts()]
    assert names == ["MuseScore_General", "FluidR3_GM", "other", "TimGM6mb", lone.stem]
    assert choose().reason == "It lies in the folder soundfonts; its piano has several layers."
    assert choose(lone).reason == "It was asked for."
    assert find_soundfonts(lone)[0].path == lone


def test_one_file_by_two_names_is_listed_once(nowhere: Path) -> None:
    path = write(nowhere, "b.sf2")
    (nowhere / "a.sf2").symlink_to(path)
    assert len(find_soundfonts()) == 1


def test_a_player_of_a_missing_preset_is_replaced_by_the_nearest(tmp_path: Path) -> None:
    font = read_soundfont(write(tmp_path, "a.sf2"))
    assert font.preset_for(ACOUSTIC_BASS).remark == ""
    sax = font.preset_for(TENOR_SAX)
    assert (sax.bank, sax.program) == (0, 64)
    assert sax.remark == "Ours has no tenor sax: Soprano Sax plays instead."
    assert font.preset_for(JAZZ_KIT).program == 0
    brushes = font.preset_for(BRUSH_KIT)
    # key 39 is a hand clap and 40 an electric snare in a standard kit (General MIDI key map)
    assert brushes.key(BRUSH_SLAP) == SNARE
    assert brushes.key(BRUSH_SWIRL) not in {39, 40}
    assert brushes.key(SNARE) == SNARE


def test_no_kit_at_all_is_an_error(tmp_path: Path) -> None:
    path = tmp_path / "piano.sf2"
    path.write_bytes(soundfont_bytes([(0, 0, "Piano")], info={}))
    with pytest.raises(SoundFontError, match="has no drum kit"):
        read_soundfont(path).preset_for(JAZZ_KIT)


def test_the_built_in_soundfont_is_found_without_importing_its_package() -> None:
    names = {font.name: font for font in find_soundfonts()}
    built_in = names["TimGM6mb"]
    assert built_in.complete
    assert built_in.licence == "GPL-2"
    assert built_in.has(128, 32)
    assert built_in.has(128, 40)


@pytest.mark.parametrize("padded", [True, False])
def test_a_list_of_odd_length_may_lack_its_last_byte(tmp_path: Path, padded: bool) -> None:
    # RIFF pads chunks to an even length; MuseScore_General_Lite and FluidR3Mono_GM of Debian 12,
    # both .sf3, have samples of odd length and no byte after them
    whole = soundfont_bytes(BAND, info={b"INAM": b"Odd"})
    at = whole.index(b"LIST", whole.index(b"sdta") - 8)
    odd = b"sdta" + b"smpl" + struct.pack("<I", 3) + b"abc"
    odd = b"LIST" + struct.pack("<I", len(odd)) + odd + b"\0" * padded
    body = whole[12:at] + odd + whole[whole.index(b"LIST", at + 4) :]
    path = tmp_path / "odd.sf3"
    path.write_bytes(b"RIFF" + struct.pack("<I", len(body) + 4) + b"sfbk" + body)
    assert {preset.name for preset in read_soundfont(path).presets} == {each[2] for each in BAND}


def test_of_a_compressed_soundfont_only_the_samples_needed_are_loaded() -> None:
    """On the compressed SoundFonts of this machine (apt install musescore-general-soundfont)."""
    fonts = [font for font in find_soundfonts() if font.compressed]
    if not fonts:
        pytest.skip("no compressed SoundFont is installed")
    notes = [(0, 0, 60, 96), (0, 32, 40, 80), (128, 0, 51, 88)]
    for font in fonts:
        with sample_subset.loadable(font, notes) as path, Synth(font, path=path) as few:
            assert path != font.path
            assert path.stat().st_blocks * 512 < font.size / 4
            for bank, program, key, velocity in notes:
                strokes = [KeyEvent(0, key, velocity)]
                heard = few.play(few.channel(bank, program), strokes, 100 * BLOCK)
                assert np.abs(heard).max() > 0.001
                with Synth(font) as whole:
                    channel = whole.channel(bank, program)
                    assert np.array_equal(heard, whole.play(channel, strokes, 100 * BLOCK))


def test_a_soundfont_whose_tables_are_odd_is_loaded_whole(tmp_path: Path) -> None:
    font = replace(read_soundfont(write(tmp_path, "odd.sf3")), compressed=True)
    with sample_subset.loadable(font, [(0, 0, 60, 96)]) as path:
        assert path == font.path
