"""The page at the bench: served, changed when the file is saved, its mistakes shown in place."""

from __future__ import annotations

import http.client
import json
import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing, suppress
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from backing.chart.text.tune_file import read_file
from backing.errors import OutputError
from backing.page import PageMaker, watch
from backing.page.watch import BenchServer, Workbench, home_address

GOOD = "title: Bench\nkey: C\n\nsection A\n| Dm7 | G7 | Cmaj7 | % |\n"
BAD = GOOD.replace("G7", "G7x9")

AT_BAR = """async (bar) => {
  const here = () => practice.player.position()?.turn.bar;
  while (here() !== bar) await new Promise((go) => setTimeout(go, 20));
}"""
"""Wait for a bar to be played."""

Ask = Callable[..., tuple[int, bytes]]


@pytest.fixture
def tune(tmp_path: Path) -> Path:
    path = tmp_path / "bench.tune"
    path.write_text(GOOD, "utf-8")
    return path


@pytest.fixture
def server(tune: Path, maker: PageMaker) -> Iterator[BenchServer]:
    bench = Workbench(tune, lambda: maker.page(read_file(tune), watched=True))
    with BenchServer(bench) as server:
        thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02})
        thread.start()
        yield server
        server.shutdown()
        thread.join()


@pytest.fixture
def ask(server: BenchServer) -> Ask:
    def get(path: str, **headers: str) -> tuple[int, bytes]:
        connection = http.client.HTTPConnection("127.0.0.1", server.server_port, timeout=120)
        with closing(connection):
            connection.request("GET", path, headers=headers)
            answer = connection.getresponse()
            return answer.status, answer.read()

    return get


def test_it_serves_the_page_and_its_state(ask: Ask) -> None:
    status, body = ask("/")
    assert status == 200
    assert b"<title>Bench</title>" in body
    status, body = ask("/state")
    assert status == 200
    assert json.loads(body)["problems"] == ""


@pytest.mark.parametrize("host", ["evil.example", "localhost", "127.0.0.1:1", "0.0.0.0"])
def test_another_host_is_not_answered(ask: Ask, host: str) -> None:
    # a name that resolves to this machine must not open the page to another site
    status, body = ask("/", Host=host)
    assert status == 421  # RFC 9110, 15.5.20: misdirected request
    assert b"Bench" not in body


@pytest.mark.parametrize("origin", ["http://evil.example", "null", "https://127.0.0.1"])
def test_another_page_is_not_answered(ask: Ask, server: BenchServer, origin: str) -> None:
    # Fetch standard, "Origin" header: a page sends its own with whatever it asks of another place
    status, body = ask("/state", Origin=origin)
    assert status == 403
    assert b"version" not in body
    assert ask("/state", Origin=server.address.rstrip("/"))[0] == 200


def dialed(server: BenchServer) -> socket.socket:
    return socket.create_connection(("127.0.0.1", server.server_port), timeout=120)


def answered(connection: socket.socket) -> bytes:
    """All that comes until the server ends the connection."""
    with suppress(ConnectionResetError):
        return b"".join(iter(lambda: connection.recv(1 << 16), b""))
    return b""


def test_many_connections_hold_few_threads(
    ask: Ask, server: BenchServer, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(watch, "REQUEST_SECONDS", 600)
    before = threading.active_count()
    with ExitStack() as stack:
        silent = [stack.enter_context(dialed(server)) for _ in range(watch.CONNECTIONS)]
        others = [stack.enter_context(dialed(server)) for _ in range(300 - len(silent))]
        for each in others:  # turned away, while those before are waited for
            assert answered(each) in (watch.BUSY, b"")
        assert threading.active_count() - before <= watch.CONNECTIONS
        for each in silent:
            each.sendall(b"GET /state HTTP/1.1\r\nConnection: close\r\n")
            each.sendall(f"Host: 127.0.0.1:{server.server_port}\r\n\r\n".encode())
        for each in silent:
            assert answered(each).startswith(b"HTTP/1.1 200 ")
    monkeypatch.setattr(watch, "REQUEST_SECONDS", -1)  # over before it began
    with dialed(server) as slow:
        slow.sendall(b"GET / HT")
        assert answered(slow) == b""
    monkeypatch.setattr(watch, "REQUEST_SECONDS", 600)
    assert ask("/state")[0] == 200


def test_a_server_that_ends_waits_for_nobody(tune: Path) -> None:
    with BenchServer(Workbench(tune, lambda: b"page")) as server:
        thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02})
        thread.start()
        silent = dialed(server)
        asked = http.client.HTTPConnection("127.0.0.1", server.server_port, timeout=120)
        with closing(asked):  # after the silent one, which is served by then
            asked.request("GET", "/")
            assert asked.getresponse().read() == b"page"
        server.shutdown()
        thread.join()
    with silent:
        assert answered(silent) == b""


def test_what_goes_wrong_in_making_a_page_is_shown(ask: Ask, server: BenchServer) -> None:
    def fails() -> bytes:
        raise ZeroDivisionError

    server.bench.make = fails
    assert b"The page cannot be made (ZeroDivisionError)" in ask("/")[1]


def test_nothing_else_is_served(ask: Ask) -> None:
    assert ask("/bench.tune")[0] == 404
    assert ask("/../../etc/passwd")[0] == 404


def test_only_this_machine_is_served_unless_asked(server: BenchServer) -> None:
    assert server.server_address[0] == "127.0.0.1"


def test_shared_it_answers_by_its_address_at_home(tune: Path) -> None:
    with BenchServer(Workbench(tune, lambda: b"page"), share=True) as server:
        assert server.server_address[0] == "0.0.0.0"
        assert server.address == f"http://{home_address()}:{server.server_port}/"
        assert f"{home_address()}:{server.server_port}" in server.hosts


def test_a_port_that_is_taken_is_said(server: BenchServer) -> None:
    with pytest.raises(OutputError, match=f"Port {server.server_port} cannot be used"):
        BenchServer(server.bench, port=server.server_port)
    with pytest.raises(OutputError, match="Port 99999 cannot be used"):
        BenchServer(server.bench, port=99_999)


def test_an_open_page_follows_the_file(tab: Page, server: BenchServer, tune: Path) -> None:
    tab.goto(server.address)
    expect(tab.locator("#title")).to_have_text("Bench")
    tune.write_text(BAD, "utf-8")
    notice = tab.locator("#notice")
    expect(notice).to_contain_text("bench.tune:5:")
    expect(notice).to_contain_text("^")
    expect(tab.locator("#title")).to_have_text("Bench")  # the page stays and plays on
    tune.write_text(GOOD.replace("Bench", "Bench Two"), "utf-8")
    expect(tab.locator("#title")).to_have_text("Bench Two")
    expect(notice).to_be_hidden()


def test_a_save_keeps_the_place_and_the_playing(tab: Page, server: BenchServer, tune: Path) -> None:
    tab.goto(server.address)
    tab.wait_for_selector("#play:not([disabled])")
    tab.evaluate("practice.mark = 1; practice.setLoop([1, 2, 3]); practice.setTempo(60)")
    tab.evaluate("practice.settings.routine.countIn = false")
    tab.locator("#play").click()
    tab.evaluate(AT_BAR, 2)
    tune.write_text(GOOD.replace("Bench", "Bench Two").replace("Cmaj7", "Em7"), "utf-8")
    expect(tab.locator("#title")).to_have_text("Bench Two")
    assert tab.evaluate("practice.mark") == 1  # the very same page
    expect(tab.locator("#play-word")).to_have_text("Stop")
    assert tab.evaluate("practice.player.position().turn.bar") in {2, 3}
    assert tab.evaluate("practice.settings.routine.bars") == [1, 2, 3]
    expect(tab.locator("#tempo")).to_have_value("60")
    tab.evaluate(AT_BAR, 1)
    expect(tab.locator("#next")).to_have_text("Em7")


def test_a_file_wrong_from_the_start_shows_its_mistakes(
    tab: Page, server: BenchServer, tune: Path
) -> None:
    tune.write_text(BAD, "utf-8")
    tab.goto(server.address)
    expect(tab.locator("pre")).to_contain_text("bench.tune:5:")
    tune.write_text(GOOD, "utf-8")
    expect(tab.locator("#title")).to_have_text("Bench")


def test_a_file_that_goes_away_is_a_mistake_too(ask: Ask, tune: Path) -> None:
    ask("/")
    tune.unlink()
    problems = json.loads(ask("/state")[1])["problems"]
    assert "There is no file" in problems


def test_a_feel_file_beside_the_tune_is_watched_too(ask: Ask, tune: Path) -> None:
    tune.write_text(GOOD.replace("key: C", "key: C\nfeel: mine.toml"), "utf-8")
    assert "mine.toml." in json.loads(ask("/state")[1])["problems"]
    feel = tune.with_name("mine.toml")
    feel.write_text('name = "mine"\nsentence = "."\nlike = "bossa"\n', "utf-8")
    first = json.loads(ask("/state")[1])
    assert first["problems"] == ""
    feel.write_text('name = "mine"\nsentence = "."\nlike = "swing"\n', "utf-8")
    assert json.loads(ask("/state")[1])["version"] != first["version"]
