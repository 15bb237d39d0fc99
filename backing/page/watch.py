"""The page at the bench: served to one machine, made again whenever the tune file is saved, or a
feel file beside it.

Only requests that name this server in their Host header are answered, so that no web page can
reach it under a name of its own (DNS rebinding). It listens on the loopback address; for a phone
on the home network it listens there too when that is asked for.
"""

from __future__ import annotations

import json
import socket
import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from hashlib import sha256
from http import HTTPStatus
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any, Final

from backing.chart.section import FEEL_FILE
from backing.errors import OutputError, UserError
from backing.page.document import waiting_page

LOOPBACK: Final = "127.0.0.1"
EVERYWHERE: Final = "0.0.0.0"
Make = Callable[[], bytes]


@dataclass
class Workbench:
    """The page of a tune file as it is now: made when the file has changed, with its mistakes.

    A feel file beside the tune is watched, too, since the tune may name it. ``make`` makes the
    page or raises UserError. While a file is wrong the last good page stays.
    """

    tune: Path
    make: Make
    _seen: tuple[tuple[int, int], ...] | None = None
    _page: bytes = b""
    _problems: str = ""
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def page(self) -> bytes:
        """The page; a page of mistakes where no good one has been made yet."""
        with self._lock:
            self._look()
            if self._page:
                return self._page
            return waiting_page(self.tune.name, self._problems)

    def state(self) -> dict[str, str]:
        """What an open page asks for: the version of the page, and the mistakes in the file."""
        with self._lock:
            self._look()
            return {"version": sha256(self._page).hexdigest()[:16], "problems": self._problems}

    def _look(self) -> None:
        feels = sorted(self.tune.parent.glob(f"*{FEEL_FILE}"))
        stamps = tuple(_stamp(file) for file in (self.tune, *feels))
        if stamps == self._seen:
            return
        self._seen = stamps
        try:
            self._page, self._problems = self.make(), ""
        except UserError as error:
            self._problems = str(error)


def _stamp(file: Path) -> tuple[int, int]:
    """Time (in ns) and size of a file as it is now; zeros where there is none."""
    try:
        status = file.stat()
    except OSError:
        return 0, 0
    return status.st_mtime_ns, status.st_size


class BenchServer(ThreadingHTTPServer):
    """Serves a workbench; ``address`` is where the page is."""

    daemon_threads = True

    def __init__(self, bench: Workbench, *, share: bool = False, port: int = 0) -> None:
        """``share``: also to the home network; ``port`` 0: any that is free.

        Raises OutputError where the port cannot be had.
        """
        self.bench = bench
        try:
            super().__init__((EVERYWHERE if share else LOOPBACK, port), _Handler)
        except (OSError, OverflowError) as error:
            reason = str(getattr(error, "strerror", None) or error).removeprefix("bind(): ")
            cause = f"Port {port} cannot be used: {reason.rstrip('.')}."
            raise OutputError(cause, "Leave --port out, or name another.") from None
        names = {LOOPBACK, "localhost", *((home_address(),) if share else ())}
        self.hosts = {f"{name}:{self.server_port}" for name in names}
        self.address = f"http://{home_address() if share else LOOPBACK}:{self.server_port}/"

    def handle_error(self, request: Any, client_address: Any) -> None:
        """A browser that goes away in the middle is nothing to talk about."""


class _Handler(BaseHTTPRequestHandler):
    server: BenchServer
    protocol_version = "HTTP/1.1"

    def do_GET(self) -> None:
        """The page at "/", its state at "/state"."""
        if self.headers.get("Host") not in self.server.hosts:
            self._answer(HTTPStatus.MISDIRECTED_REQUEST, "text/plain", b"Not for this host.\n")
        elif self.path == "/":
            self._answer(HTTPStatus.OK, "text/html", self.server.bench.page())
        elif self.path == "/state":
            state = json.dumps(self.server.bench.state(), ensure_ascii=False)
            self._answer(HTTPStatus.OK, "application/json", state.encode("utf-8"))
        else:
            self._answer(HTTPStatus.NOT_FOUND, "text/plain", b"There is only the page.\n")

    def _answer(self, status: HTTPStatus, kind: str, body: bytes) -> None:
        self.send_response(status)
        self.send_header("Content-Type", f"{kind}; charset=utf-8")
        self.send_header("Content-Length", str(len(body)))
        self.send_header("Cache-Control", "no-store")
        self.send_header("X-Content-Type-Options", "nosniff")
        self.send_header("Cross-Origin-Resource-Policy", "same-origin")
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, format: str, *args: Any) -> None:  # noqa: A002
        """Keep quiet: the terminal is for mistakes in the tune."""


def home_address() -> str:
    """This machine's address in its own network; the loopback address where there is none.

    No packet is sent: connecting a datagram socket only chooses a way out.
    """
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # TEST-NET-1 (RFC 5737): nobody is there
            return str(probe.getsockname()[0])
        except OSError:
            return LOOPBACK
