"""A take on the page, in Chromium, the whole way: a recording is its microphone."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest
import soundfile
from playwright.sync_api import Page, Playwright, expect

from backing.take import log
from tests.page.conftest import FLAGS, PATIENCE_MS, ROOT, opened
from tests.page.test_page import AXE
from tests.take.playing import RATE, line_of, performed, solo_sound
from tests.take.test_faults import FONT

PLAYED = ("corner-booth", 140, "etude level 1", "1-8")
GUITAR = 26
READY = """() => {
  const app = globalThis.practice;
  app.setTempo(140);
  app.setLoop([0, 1, 2, 3, 4, 5, 6, 7]);
  globalThis.take.slack = 6; // the file begins when the microphone is opened, not with the band
  globalThis.take.stale = 60; // however busy the machine is
}"""
BARS_PLAYED = """async (bars) => {
  const until = performance.now() + 120_000;
  while (!(globalThis.take.watch?.played.length >= bars)) {
    if (performance.now() > until) throw new Error("The band doesn't play.");
    await new Promise((go) => setTimeout(go, 50));
  }
}"""
Start = Callable[..., Page]


@pytest.fixture(scope="module")
def take_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An étude over the first eight bars, the third note of bar 4 a half step too high."""
    notes = line_of(performed(*PLAYED))
    beat = 60 / 140
    wrong = [n for n, note in enumerate(notes) if note.onset - 8 * beat > 12 * beat - 0.08][2]
    planted = [
        type(n)(n.onset, n.end, n.pitch + (at == wrong), n.velocity) for at, n in enumerate(notes)
    ]
    sound = solo_sound(planted, GUITAR, planted[-1].end + 1, FONT)
    path = tmp_path_factory.mktemp("take") / "take.wav"
    soundfile.write(path, sound, RATE, subtype="PCM_16")
    return path


@pytest.fixture
def start(long_file: Path, playwright: Playwright) -> Iterator[Start]:
    """A page in a browser of its own, which has the switches it is given; a script that fails in it
    fails the test."""
    failures: list[str] = []
    browsers = []

    def begin(*flags: str) -> Page:
        browser = playwright.chromium.launch(
            executable_path="/usr/bin/chromium", args=[*FLAGS, *flags]
        )
        browsers.append(browser)
        context = browser.new_context(viewport={"width": 1280, "height": 800})
        context.set_default_timeout(PATIENCE_MS)
        page = context.new_page()
        page.on("pageerror", lambda error: failures.append(str(error)))
        page.on(
            "console",
            lambda said: failures.append(said.text) if said.type == "error" else None,
        )
        opened(page, long_file).evaluate(READY)
        page.click("#take")
        return page

    yield begin
    for browser in browsers:
        browser.close()
    assert failures == []


def microphone(path: Path) -> tuple[str, ...]:
    return (
        "--use-fake-device-for-media-stream",
        "--use-fake-ui-for-media-stream",
        f"--use-file-for-fake-audio-capture={path}%noloop",
    )


def test_a_take_from_the_microphone_to_the_log(
    start: Start, take_file: Path, tmp_path: Path
) -> None:
    page = start(*microphone(take_file))
    page.get_by_role("button", name="Microphone").click()
    expect(page.locator("#take-kind")).to_have_text("chord tone")
    expect(page.locator("#take-degree")).to_have_text("1")
    page.evaluate(BARS_PLAYED, 11)
    page.get_by_role("button", name="Done").click()
    sentences = page.locator("#take-sentences li")
    expect(sentences).to_have_count(3)
    first = sentences.first.text_content() or ""
    assert first.startswith("One note left the chord and led nowhere: "), first
    assert "on 2 of bar 4" in first
    assert page.locator("#take-picture .cross").count() == 2  # the legend has one
    expect(page.locator("#take-figures")).to_contain_text("not known before the latency is found")
    with page.expect_download() as download:
        page.get_by_role("button", name="Export the log").click()
    kept = tmp_path / "takes.jsonl"
    download.value.save_as(kept)
    (entry,) = log.read(kept)
    assert (entry["title"], entry["tempo"], entry["left"]) == ("Corner Booth", 140, 1)
    page.get_by_role("button", name="Loop bars 3-4").click()
    assert page.evaluate("practice.settings.routine.bars") == [2, 3]
    expect(page.locator("#take-sheet")).to_be_hidden()


def test_a_recording_is_read_and_placed(start: Start, take_file: Path) -> None:
    page = start()
    page.set_input_files("#take-file", take_file)
    first = page.locator("#take-sentences li").first
    expect(first).to_contain_text("One note left the chord and led nowhere")
    expect(first).to_contain_text("of bar 4")
    expect(page.locator("#take-figures")).to_contain_text("under the hand in position")
    page.evaluate(AXE.read_text("utf-8"))
    found = page.evaluate("axe.run().then((result) => result.violations)")
    assert [(each["id"], each["nodes"][0]["html"]) for each in found] == []
    page.get_by_role("button", name="Play it back").click()
    expect(page.locator("#play-word")).to_have_text("Stop")


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("silence", "There is nothing to hear"),
        ("noise", "No clear pitches are heard"),
        ("text", "isn't a recording that this browser can read"),
    ],
)
def test_what_is_no_take_is_said(start: Start, name: str, words: str, tmp_path: Path) -> None:
    path = tmp_path / f"{name}.wav"
    if name == "text":
        path.write_text("no sound at all")
    else:
        noise = np.random.default_rng(1).standard_normal(8 * RATE) * (name == "noise") * 0.1
        soundfile.write(path, noise, RATE)
    page = start()
    page.set_input_files("#take-file", path)
    expect(page.locator("#take-notice")).to_contain_text(words)
    expect(page.get_by_role("button", name="Microphone")).to_be_visible()


def test_a_refused_microphone_is_said(start: Start) -> None:
    page = start("--use-fake-device-for-media-stream", "--deny-permission-prompts")
    page.get_by_role("button", name="Microphone").click()
    expect(page.locator("#take-notice")).to_contain_text("The microphone was refused")
    expect(page.locator("#play-word")).to_have_text("Play")


def test_an_instrument_that_is_not_there_is_said(start: Start) -> None:
    page = start()
    page.get_by_role("button", name="MIDI instrument").click()
    notice = page.locator("#take-notice")
    expect(notice).to_be_visible()
    assert "instrument" in (notice.text_content() or "")


def test_a_microphone_that_vanishes_ends_the_take(start: Start, take_file: Path) -> None:
    page = start(*microphone(take_file))
    page.get_by_role("button", name="Microphone").click()
    page.evaluate(BARS_PLAYED, 6)
    page.evaluate("take.input.stream.getAudioTracks()[0].dispatchEvent(new Event('ended'))")
    expect(page.locator("#take-notice")).to_contain_text("The microphone is gone")
    expect(page.locator("#play-word")).to_have_text("Play")


def test_no_note_of_the_band_is_late_while_the_page_listens(start: Start, take_file: Path) -> None:
    page = start(*microphone(take_file))
    page.evaluate(
        """() => {
          const { sampler, context } = globalThis.practice;
          const play = sampler.play.bind(sampler);
          globalThis.counted = { late: 0, notes: 0 };
          sampler.play = (note, when, seconds) => {
            counted.notes += 1;
            if (when < context.currentTime) counted.late += 1;
            return play(note, when, seconds);
          };
        }"""
    )
    page.get_by_role("button", name="Microphone").click()
    page.evaluate(BARS_PLAYED, 8)
    counted = page.evaluate("counted")
    assert counted["notes"] > 40
    assert counted["late"] == 0


def test_nothing_leaves_the_page(start: Start, take_file: Path) -> None:
    page = start(*microphone(take_file))
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.get_by_role("button", name="Microphone").click()
    page.evaluate(BARS_PLAYED, 4)
    page.get_by_role("button", name="Done").click()
    expect(page.locator("#take-live")).to_be_hidden()
    assert [url for url in asked if not url.startswith(("blob:", "data:"))] == []
    policy = page.locator("meta[http-equiv]").get_attribute("content") or ""
    assert "worker-src blob:" in policy
    assert "script-src 'sha256-" in policy
    assert "connect-src" not in policy


def test_a_log_is_imported_once(start: Start, tmp_path: Path) -> None:
    take = {
        "when": "2026-11-30T20:15", "tempo": 140.0, "title": "Corner Booth", "sentences": ["a"],
        "tones": 0.5, "changes": {"step": 1, "held": 0, "leap": 0, "rest": 0}, "longest_run": 8,
        "time": {"spread_ms": 12.0}, "phrases": {"count": 1}, "left": 0,
    }  # fmt: skip
    good, bad = tmp_path / "takes.jsonl", tmp_path / "bad.jsonl"
    good.write_text(json.dumps(take) + "\n", "utf-8")
    bad.write_text(json.dumps(take) + "\n{}\n", "utf-8")
    assert log.read(good) == [take]
    page = start()
    for _ in range(2):
        page.set_input_files("#take-lines", good)
        expect(page.locator("#take-kept")).to_have_text("1 take in the log.")
    expect(page.locator("#take-weeks svg")).to_be_visible()
    page.set_input_files("#take-lines", bad)
    expect(page.locator("#take-notice")).to_contain_text("Line 2 isn't a take of a practice log")


def test_the_log_is_plotted_as_the_program_plots_it(start: Start, tmp_path: Path) -> None:
    """The same dots at the same places, with the same numbers."""
    takes = json.loads((ROOT / "tests/cases/takes.json").read_text("utf-8"))["logs"][0]["takes"]
    path = tmp_path / "takes.jsonl"
    path.write_text("".join(f"{json.dumps(take)}\n" for take in takes), "utf-8")
    drawn = log.plot(log.read(path))
    page = start()
    page.set_input_files("#take-lines", path)
    page.wait_for_selector("#take-weeks svg")
    dots = page.locator("#take-weeks circle")
    mine = dots.evaluate_all(
        "(dots) => dots.map((d) => [...['cx', 'cy'].map((n) => d.getAttribute(n)), d.textContent])"
    )
    wanted = re.findall(r'cx="([^"]+)" cy="([^"]+)".*?<title>(.*?)</title>', drawn)
    assert [tuple(each) for each in mine] == wanted
    words = page.locator("#take-weeks text").all_text_contents()
    assert words == re.findall(r"<text[^>]*>([^<]*)</text>", drawn)
    page.evaluate(AXE.read_text("utf-8"))
    found = page.evaluate("axe.run().then((result) => result.violations)")
    assert [(each["id"], each["nodes"][0]["html"]) for each in found] == []
