"""The page at the bench: served to one machine, made again whenever the tune file is saved, or a
feel file beside it.

Only requests that name this server in their Host header are answered, so that no web page can
reach it under a name of its own (DNS rebinding), and none that another page sends (Origin). It
listens on the loopback address; for a phone on the home network it listens there too when that is
asked for. So many connections are served at a time, and each has so long for a request.
"""

from __future__ import annotations

import json
import socket
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from hashlib import sha256
from http import HTTPStatus
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any, Final

from backing.chart.section import FEEL_FILE
from backing.errors import BackingError, OutputError
from backing.memory import enough_memory
from backing.page.document import waiting_page
from backing.reading import guarded

LOOPBACK: Final = "127.0.0.1"
EVERYWHERE: Final = "0.0.0.0"
CONNECTIONS: Final = 32
"""Served at a time, each by a thread; a browser opens six (common practice, no source)."""
REQUEST_SECONDS: Final = 10
"""Until a request has come as a whole; an open page asks more often than once a second."""
ANSWER_SECONDS: Final = 300
"""Until a page is made and sent."""
BUSY: Final = b"HTTP/1.1 503 Service Unavailable\r\nContent-Length: 0\r\nConnection: close\r\n\r\n"
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
        fault = guarded("The page cannot be made", "Please report it, and send the tune along.")
        try:
            with fault, enough_memory():
                self._page, self._problems = self.make(), ""
        except BackingError as error:
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

    daemon_threads = False  # nobody may still be in FluidSynth when Python ends
    request_queue_size = 4 * CONNECTIONS  # that may wait to be taken on, or turned away

    def __init__(self, bench: Workbench, *, share: bool = False, port: int = 0) -> None:
        """``share``: also to the home network; ``port`` 0: any that is free.

        Raises OutputError where the port cannot be had.
        """
        self.bench = bench
        self._deadlines: dict[socket.socket, float] = {}
        try:
            super().__init__((EVERYWHERE if share else LOOPBACK, port), _Handler)
        except (OSError, OverflowError) as error:
            reason = str(getattr(error, "strerror", None) or error).removeprefix("bind(): ")
            cause = f"Port {port} cannot be used: {reason.rstrip('.')}."
            raise OutputError(cause, "Leave --port out, or name another.") from None
        names = {LOOPBACK, "localhost", *((home_address(),) if share else ())}
        self.hosts = {f"{name}:{self.server_port}" for name in names}
        self.address = f"http://{home_address() if share else LOOPBACK}:{self.server_port}/"

    def give(self, connection: socket.socket, seconds: float) -> None:
        """Let a connection wait for its next step so long."""
        self._deadlines[connection] = time.monotonic() + seconds

    def process_request(self, request: Any, client_address: Any) -> None:
        """Serve a new connection in a thread, or turn it away where there are too many."""
        if len(self._deadlines) < CONNECTIONS:
            self.give(request, REQUEST_SECONDS)
            super().process_request(request, client_address)
        else:
            with suppress(OSError):
                request.setblocking(False)
                request.send(BUSY)
            self.shutdown_request(request)

    def shutdown_request(self, request: Any) -> None:
        """Close a connection."""
        self._deadlines.pop(request, None)
        super().shutdown_request(request)

    def service_actions(self) -> None:
        """End the connections whose time is over; the server calls this twice a second."""
        self._end_before(time.monotonic())

    def server_close(self) -> None:
        """End all connections, and wait for their threads."""
        self._end_before(float("inf"))
        super().server_close()

    def _end_before(self, now: float) -> None:
        for connection, deadline in list(self._deadlines.items()):
            if deadline < now:
                with suppress(OSError):
                    connection.shutdown(socket.SHUT_RDWR)

    def handle_error(self, request: Any, client_address: Any) -> None:
        """A browser that goes away in the middle is nothing to talk about."""


class _Handler(BaseHTTPRequestHandler):
    server: BenchServer
    protocol_version = "HTTP/1.1"

    def do_GET(self) -> None:
        """The page at "/", its state at "/state"."""
        self.server.give(self.connection, ANSWER_SECONDS)
        host, origin = self.headers.get("Host"), self.headers.get("Origin")
        if host not in self.server.hosts:
            self._answer(HTTPStatus.MISDIRECTED_REQUEST, "text/plain", b"Not for this host.\n")
        elif origin not in (None, f"http://{host}"):
            self._answer(HTTPStatus.FORBIDDEN, "text/plain", b"Not for another page.\n")
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
        self.send_header("Content-Security-Policy", "frame-ancestors 'none'")
        self.end_headers()
        self.wfile.write(body)
        self.server.give(self.connection, REQUEST_SECONDS)

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
