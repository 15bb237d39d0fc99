"""What the package says of itself: version, changes, whose work it rests on."""

from __future__ import annotations

import re
import tomllib
from importlib.metadata import metadata
from importlib.resources import files
from pathlib import Path

import pytest

from backing import __version__

PROJECT = tomllib.loads((Path(__file__).parents[1] / "pyproject.toml").read_text("utf-8"))[
    "project"
]
NOTICE = (files("backing") / "NOTICE.md").read_text("utf-8")
FAMILY = re.compile(r"\b(L?GPL|MPL|Apache|BSD|MIT|OFL|PSF)")
NAMED = {
    name.strip(): licence
    for name, licence in re.findall(r"^\| ([\w-]+)[^|]* \| ([^|]+) \|", NOTICE, re.MULTILINE)
    if name != "package"
}


def needed() -> list[str]:
    extras = PROJECT["optional-dependencies"]
    wanted = [*PROJECT["dependencies"], *extras["cluster"], *extras["take"]]
    return [re.match(r"[\w.-]+", each)[0] for each in wanted]  # type: ignore[index]


def test_the_notice_names_every_package_and_no_other() -> None:
    assert set(NAMED) == set(needed())


@pytest.mark.parametrize("name", needed())
def test_the_notice_has_the_licence_of_the_metadata(name: str) -> None:
    """Of licences that differ in a word the family tells what it asks of who passes it on."""
    stated = metadata(name)
    told = f"{stated.get('License-Expression', '')} {stated.get('License', '')}"
    said_there = " ".join(stated.get_all("Classifier") or ())  # some state it there alone
    families = set(FAMILY.findall(told) or FAMILY.findall(said_there))
    assert families, told
    ours = set(FAMILY.findall(NAMED[name]))
    if name in ("numpy", "scipy"):  # MIT and others, of small parts
        families &= {"BSD"}
    assert families <= ours
    reaching = {"GPL", "LGPL", "MPL"}
    assert ours & reaching == families & reaching or name in {"pyfluidsynth", "soundfile"}


def test_the_changes_begin_with_this_version() -> None:
    changes = (files("backing") / "CHANGELOG.md").read_text("utf-8")
    versions = re.findall(r"^## (\S+)$", changes, re.MULTILINE)
    assert versions[0] == __version__
    assert versions == sorted(versions, reverse=True)
