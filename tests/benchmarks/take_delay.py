"""How long after a note the page shows it: ``python -m tests.benchmarks.take_delay``.

Chromium, a WAV file as its microphone, the band playing; 128 eighths of an étude at 140 bpm. From
where the page's own ear has the note's onset to the frame of the screen after its degree is
written, by the audio clock; and what of it is not the network's window (176 ms). With nothing else
running.
"""

from __future__ import annotations

import os
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import soundfile
from playwright.sync_api import sync_playwright

from backing.cli import main
from tests.mixdown.band import built_in_soundfont
from tests.page.conftest import FLAGS, opened
from tests.take.playing import RATE, ROOT, line_of, performed, solo_sound

WINDOW = 0.176
"""Seconds of sound the network needs from the first frame of a pitch on."""
SOONEST = 0.15
FAR = 0.6
WATCH = """async (seconds) => {
  const { app, take } = { app: globalThis.practice, take: globalThis.take };
  take.slack = 6;
  take.stale = 60;
  globalThis.shown = [];
  const note = () => requestAnimationFrame(() => shown.push(app.context.currentTime));
  const sign = document.getElementById("take-degree");
  new MutationObserver(note).observe(sign, { childList: true, characterData: true });
  document.getElementById("take-microphone").click();
  await new Promise((go) => setTimeout(go, seconds * 1000));
  const input = take.input;
  const end = input.end.bind(input);
  const ended = new Promise((go) => {
    input.end = async () => { const found = await end(); go(found); return found; };
  });
  document.getElementById("take-done").click();
  const { begun, heard } = await ended;
  return { shown: globalThis.shown, onsets: heard.notes.map(({ onset }) => begun + onset) };
}"""


def measure() -> None:
    with TemporaryDirectory() as folder, sync_playwright() as playwright:
        page_file, sound = Path(folder) / "page.html", Path(folder) / "take.wav"
        tune = str(ROOT / "tunes" / "corner-booth.tune")
        font = str(built_in_soundfont().path)
        main(["page", tune, "--tempo", "140", "--soundfont", font, "-o", str(page_file), "--quiet"])
        notes = line_of(performed("corner-booth", 140, "etude level 1", "A B"))
        seconds = notes[-1].end + 1
        line = solo_sound(notes, 26, seconds, Path(font))
        soundfile.write(sound, line, RATE, subtype="PCM_16")
        browser = playwright.chromium.launch(
            executable_path="/usr/bin/chromium",
            args=[
                *FLAGS,
                "--use-fake-device-for-media-stream",
                "--use-fake-ui-for-media-stream",
                f"--use-file-for-fake-audio-capture={sound}%noloop",
            ],
        )
        page = opened(browser.new_page(), page_file)
        page.click("#take")
        page.set_default_timeout(1000 * (seconds + 60))
        found = page.evaluate(WATCH, seconds + 2)
        browser.close()
    tell(np.array(found["onsets"]), np.array(found["shown"]))


def tell(onsets: np.ndarray, shown: np.ndarray) -> None:
    mine = []
    for onset, after in zip(onsets, [*onsets[1:], np.inf], strict=True):
        # not earlier than the network can know it, and before the next one can be known
        times = shown[(shown > onset + SOONEST) & (shown < min(after + SOONEST, onset + FAR))]
        mine += list(times[:1] - onset)
    waits = 1000 * np.sort(mine)
    load = os.getloadavg()[0]
    print(f"{len(onsets)} notes heard, {len(waits)} shown; load {load:.1f}")
    for name, values in (("from the onset", waits), ("after the window", waits - 1000 * WINDOW)):
        parts = np.percentile(values, (5, 25, 50, 75, 95, 100))
        print(
            f"{name:17}"
            + "  ".join(f"{part:4.0f}" for part in parts)
            + "  ms (5 25 50 75 95 100 %)"
        )


if __name__ == "__main__":
    measure()
