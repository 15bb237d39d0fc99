"""The page over a whole evening: what has sounded is forgotten, with the real sampler."""

from __future__ import annotations

from pathlib import Path

from playwright.sync_api import Page

from tests.page.conftest import opened

MOST_MORE = 200
"""By how much the audio nodes alive may differ from one moment to another: what sounds differs.
Measured: by 38; by 2,012 where every note holds on to the one before."""


def test_notes_that_are_over_are_forgotten(tab: Page, long_file: Path) -> None:
    page = opened(tab, long_file)
    devtools = page.context.new_cdp_session(page)
    devtools.send("Performance.enable")
    page.evaluate(
        """() => {
          const { mix, routine } = practice.settings;
          for (const part of practice.data.parts) mix.on[part.id] = true;
          routine.countIn = false;
          practice.setTempo(300);
          document.getElementById("play").click();
          const play = practice.sampler.play.bind(practice.sampler);
          globalThis.struck = 0;
          practice.sampler.play = (...note) => { struck += 1; return play(...note); };
        }"""
    )
    alive = []
    for notes in (500, 1500):
        while page.evaluate("struck") < notes:
            page.wait_for_timeout(200)
        devtools.send("HeapProfiler.collectGarbage")
        told = devtools.send("Performance.getMetrics")["metrics"]
        alive.append(next(each["value"] for each in told if each["name"] == "AudioHandlers"))
    page.evaluate("practice.stop()")
    assert alive[1] - alive[0] < MOST_MORE
