"""Debian's Firefox, driven over Marionette, its own protocol for tests.

A message is its length, a colon and JSON: [0, number, command, parameters] there and
[1, number, error, result] back (Mozilla: Marionette protocol, level 3). Playwright drives a Firefox
of its own only, and Mozilla's marionette_driver needs modules that Python 3.13 no longer has.
"""

from __future__ import annotations

import json
import socket
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

PROFILE = """
user_pref("marionette.port", 0);
user_pref("media.autoplay.default", 0);
user_pref("browser.shell.checkDefaultBrowser", false);
user_pref("datareporting.policy.dataSubmissionEnabled", false);
user_pref("app.update.auto", false);
"""
COMMAND = ("/usr/bin/firefox-esr", "--marionette", "--headless", "--no-remote", "--profile")
PATIENCE_S = 120


class Firefox:
    """A page in a frame of any size: a window cannot be as narrow as a phone."""

    def __init__(self, port: int) -> None:
        self._wire = socket.create_connection(("127.0.0.1", port), timeout=PATIENCE_S)
        self._number = 0
        self._read()  # it says who it is
        self._ask("WebDriver:NewSession", {"timeouts": {"script": PATIENCE_S * 1000}})

    def open(self, page: Path, size: tuple[int, int]) -> None:
        """The page in a frame of ``size`` CSS pixels, ready to play."""
        around = page.with_name(f"around {page.name}")
        frame = f'<iframe src="{page.name}" allow="autoplay" style="border: 0"></iframe>'
        around.write_text(f"<!doctype html><body style='margin: 0'>{frame}", "utf-8")
        self._ask("WebDriver:SwitchToFrame", {"id": None})
        self._ask("WebDriver:Navigate", {"url": around.as_uri()})
        self.resize(*size)
        self._script(
            """const [tell] = arguments;
            const ready = () => document.body.dataset.state === "ready";
            const ask = () => ready() ? tell() : setTimeout(ask, 50);
            ask();"""
        )

    def resize(self, width: int, height: int) -> None:
        """Another size of the frame."""
        self._ask("WebDriver:SwitchToFrame", {"id": None})
        style = f"border: 0; width: {width}px; height: {height}px"
        self._script(f"document.querySelector('iframe').style.cssText = '{style}'; arguments[0]()")
        found = self._ask("WebDriver:FindElement", {"using": "css selector", "value": "iframe"})
        (element,) = found["value"].values()
        self._ask("WebDriver:SwitchToFrame", {"element": element})

    def run(self, script: str) -> Any:
        """What an expression of the page comes to; a promise is waited for."""
        return self._script(
            f"const tell = arguments[0]; Promise.resolve((() => ({script}))()).then(tell);"
        )

    def press(self, key: str) -> None:
        """Press a key where the focus is."""
        (element,) = self._ask("WebDriver:GetActiveElement", {})["value"].values()
        self._ask("WebDriver:ElementSendKeys", {"id": element, "text": key})

    def close(self) -> None:
        """Let it end."""
        self._ask("Marionette:Quit", {"flags": ["eForceQuit"]})
        self._wire.close()

    def _script(self, script: str) -> Any:
        asked = {"script": script, "args": [], "sandbox": None}
        return self._ask("WebDriver:ExecuteAsyncScript", asked)["value"]

    def _ask(self, command: str, parameters: dict[str, Any]) -> Any:
        self._number += 1
        message = json.dumps([0, self._number, command, parameters])
        self._wire.sendall(f"{len(message.encode())}:{message}".encode())
        _, _, error, result = self._read()
        assert error is None, error
        return result

    def _read(self) -> Any:
        length = b""
        while not length.endswith(b":"):
            length += self._wire.recv(1)
        text = b""
        while len(text) < int(length[:-1]):
            text += self._wire.recv(int(length[:-1]) - len(text))
        return json.loads(text)


@contextmanager
def firefox() -> Iterator[Firefox]:
    """A Firefox without a window of its own."""
    with TemporaryDirectory(ignore_cleanup_errors=True) as folder:
        profile = Path(folder)
        (profile / "user.js").write_text(PROFILE, "utf-8")
        quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
        with subprocess.Popen([*COMMAND, folder], **quiet) as process:
            told = profile / "MarionetteActivePort"
            until = time.monotonic() + PATIENCE_S
            while not (told.exists() and told.read_text()) and time.monotonic() < until:
                time.sleep(0.1)
            fox = Firefox(int(told.read_text()))
            try:
                yield fox
            finally:
                fox.close()
                process.wait(PATIENCE_S)
