"""Many small scripts become one: a page that may load nothing carries all of its code inline.

The scripts are ES modules in a narrow dress, which is checked: every import names what it takes
from a file beside it, every export stands before a declaration. Each becomes a function that is
run once, after those it imports.
"""

from __future__ import annotations

import base64
import re
from importlib.resources import files

from backing.errors import InternalError

WEB = files("backing.page") / "web"
_IMPORT = re.compile(r'^import \{([^}]*)\} from "\./([\w-]+\.js)";\n', re.MULTILINE)
_EXPORT = re.compile(r"^export (?=(?:async )?(?:function\*?|class|const) (\w+))", re.MULTILINE)
_FONT = re.compile(r"url\(fonts/([\w-]+\.woff2)\)")
_LEFT_OVER = re.compile(r"^\s*(?:import|export)\b(?! \{\};)", re.MULTILINE)


def script(entry: str = "main.js") -> str:
    """``entry`` and all it imports as one strict script, safe inside a script element.

    Raises InternalError for a module that is not dressed as said above.
    """
    modules: dict[str, str] = {}
    _collect(entry, modules, ())
    bundle = '"use strict";\n(() => {\n' + "".join(modules.values()) + "})();\n"
    if "</script" in bundle.lower() or "<!--" in bundle or "<script" in bundle.lower():
        raise InternalError("A script of the page would end its own element.")
    return bundle


def style() -> str:
    """The style sheet of the page, its fonts inside."""
    return _FONT.sub(_font, (WEB / "page.css").read_text("utf-8"))


def _font(match: re.Match[str]) -> str:
    data = base64.b64encode((WEB / "fonts" / match[1]).read_bytes()).decode("ascii")
    return f"url(data:font/woff2;base64,{data})"


def markup() -> str:
    """What stands in the body of the page."""
    return (WEB / "page.html").read_text("utf-8")


def _collect(name: str, modules: dict[str, str], path: tuple[str, ...]) -> None:
    """Add a module behind those it imports."""
    if name in modules:
        return
    if name in path:
        raise InternalError(f"The scripts {' > '.join((*path, name))} import one another.")
    source = (WEB / name).read_text("utf-8")
    for _, other in _IMPORT.findall(source):
        _collect(other, modules, (*path, name))
    modules[name] = _wrapped(name, source)


def _wrapped(name: str, source: str) -> str:
    exported = ", ".join(_EXPORT.findall(source))

    def taken(match: re.Match[str]) -> str:
        names = match[1].replace(" as ", ": ")
        return f"const {{{names}}} = {_variable(match[2])};\n"

    code = _EXPORT.sub("", _IMPORT.sub(taken, source)).replace("export {};\n", "")
    left = _LEFT_OVER.search(code)
    if left:
        raise InternalError(f"{name} has an import or export of another form: {left[0].strip()}.")
    return f"const {_variable(name)} = (() => {{\n{code}return {{ {exported} }};\n}})();\n"


def _variable(name: str) -> str:
    return "module_" + re.sub(r"\W", "_", name.removesuffix(".js"))
