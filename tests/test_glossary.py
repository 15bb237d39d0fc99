"""The words a user reads are those of the glossary, in American spelling."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterable, Iterator
from html.parser import HTMLParser
from pathlib import Path

import pytest

import backing
from backing.cli import help as helps
from backing.cli.options import COMMANDS
from backing.glossary import CHORUS, FROM_THE_3RD, TERMS, TIME, Term

PACKAGE = Path(backing.__file__).parent
ROOT = PACKAGE.parent
BRITISH = ("colour", "centre", "metre", "licence", "practise", "practising", "grey", "neighbour")
QUAINT = (r"[\"”}] is no ", r"(?<!--)\bmend\b", r"\bhas no say\b", r"\bnobody is asked\b")
"""Turns of phrase that no native speaker would write in a message."""


IN_CODE = (CHORUS, TIME, FROM_THE_3RD)
"""Terms whose old words still mean something to developers: a pass, threads, rounding."""


def shown_by(path: Path) -> str:
    """What a user can read of a file of the repository."""
    text = path.read_text("utf-8")
    readers = {".py": _sentences, ".html": _html_text, ".js": _js_strings, ".typ": _js_strings}
    if path.suffix in readers:
        return "\n".join(readers[path.suffix](text))
    if path.name == "DEVELOPERS.md":  # names in the code are not for players
        text = re.sub(r"`[^`\n]*`|```.*?```", "", text, flags=re.DOTALL)
    if path.suffix == ".toml":
        text = "\n".join(re.findall(r'^sentence = "(.*)"$|#(.*)$', text, re.MULTILINE)[0])
    return text


def _sentences(source: str) -> Iterator[str]:
    """The strings of several words in a module, but for its docstrings."""
    tree = ast.parse(source)
    silent = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    joined = [node for node in ast.walk(tree) if isinstance(node, ast.JoinedStr)]
    silent |= {id(part) for whole in joined for part in ast.walk(whole) if part is not whole}
    for node in ast.walk(tree):
        if id(node) in silent:
            continue
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            text = node.value
        elif isinstance(node, ast.JoinedStr):
            parts = (p.value if isinstance(p, ast.Constant) else "{}" for p in node.values)
            text = "".join(map(str, parts))
        else:
            continue
        if " " in text.strip():
            yield text


class _Text(HTMLParser):
    """Collects what a browser shows or reads out."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, _: str, attrs: list[tuple[str, str | None]]) -> None:
        told = {"title", "aria-label", "placeholder", "alt"}
        self.found += [value for name, value in attrs if name in told and value]

    def handle_data(self, data: str) -> None:
        self.found.append(data)


def _html_text(source: str) -> list[str]:
    parser = _Text()
    parser.feed(re.sub(r"<(style|script).*?</\1>", "", source, flags=re.DOTALL))
    return parser.found


def _js_strings(source: str) -> Iterator[str]:
    """The strings of several words in a script, comments and imports left out."""
    plain = re.sub(
        r"/\*.*?\*/|^\s*//.*?$|^import .*?;$", "", source, flags=re.DOTALL | re.MULTILINE
    )
    for found in re.finditer(r'"([^"\n]*)"|`([^`]*)`|\[([^\[\]\n{}#]*)\]', plain):
        text = re.sub(r"\$\{[^}]*\}", "{}", found[1] or found[2] or "")
        if " " in text.strip():
            yield text


def stray_words(text: str, terms: Iterable[Term] = TERMS) -> list[str]:
    """Retired words, British spellings and quaint turns in a text, each with its surroundings."""
    found: list[str] = []
    for term in terms:
        if not term.retired:
            continue
        kept = "|".join(map(re.escape, sorted(term.unless, key=len, reverse=True)))
        rest = re.sub(kept, lambda same: "." * len(same[0]), text, flags=re.IGNORECASE)
        words = "|".join(map(re.escape, sorted(term.retired, key=len, reverse=True)))
        rest = rest if kept else text
        found += _around(rf"(?<!\w)(?:{words})(?!\w)", rest, str(term))
    found += _around(rf"\b\w*(?:{'|'.join(BRITISH)})\w*", text, "American spelling")
    for quaint in QUAINT:
        found += _around(quaint, text, "plain English")
    return found


def _around(pattern: str, text: str, instead: str) -> list[str]:
    return [
        f"{' '.join(text[max(0, m.start() - 30) : m.end() + 20].split())!r} (say {instead})"
        for m in re.finditer(pattern, text, re.IGNORECASE)
    ]


FILES = sorted(
    path
    for path in (
        *ROOT.glob("*.md"), *ROOT.glob("tunes/*.tune"), *PACKAGE.rglob("*.py"),
        *PACKAGE.rglob("*.toml"), *PACKAGE.rglob("*.md"), *PACKAGE.rglob("*.html"),
        *PACKAGE.rglob("*.js"), *PACKAGE.rglob("*.typ"), *PACKAGE.rglob("*.txt"),
    )
    if path.name not in {"glossary.py", "retired.py"}  # where the old words have to stand
)  # fmt: skip


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(ROOT)))
def test_no_file_shows_a_retired_word(path: Path) -> None:
    developers = path.name == "DEVELOPERS.md"
    terms = [term for term in TERMS if not (developers and term in IN_CODE)]
    assert stray_words(shown_by(path), terms) == []


def test_no_help_screen_shows_a_retired_word() -> None:
    screens = [helps.overview(), *map(helps.screen, COMMANDS.values())]
    screens += map(helps.topic, helps.TOPICS)
    assert [stray_words(screen) for screen in screens] == [[]] * len(screens)


def test_the_words_say_one_thing_each() -> None:
    words = [term.word for term in TERMS]
    assert len(set(words)) == len(words)
    meanings = "\n".join(f"{term.word}: {term.meaning}" for term in TERMS)
    assert stray_words(meanings) == []


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("rounds at each tempo", 1), ("a round trip", 0), ("--ladder", 1), ("A round, a pass", 2),
        ("piano, guitar or vibes", 0), ("leave out bass, piano or drums", 1), ("a melody", 1),
        ("Write them over the melody first.", 0), ("the last time", 1), ('"x" is no tempo.', 1),
        ("There is no bar 40.", 0), ("a semitone", 1), ("the colours", 1),
    ],
)  # fmt: skip
def test_retired_words_are_found(text: str, found: int) -> None:
    assert len(stray_words(text)) == found
