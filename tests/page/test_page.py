"""The page in Chromium: from disk, by hand and keyboard, for the eye and a screen reader."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect

from backing import __version__
from backing.chart.text.tune_file import read
from backing.page import PageMaker
from tests.page.conftest import opened

AXE = Path(__file__).parent / "node_modules" / "axe-core" / "axe.min.js"
SIZES = {
    "small phone": (320, 568),
    "phone": (390, 844),
    "landscape": (844, 390),
    "tablet": (820, 1180),
}
ADD_ALL = "for (const add of document.querySelectorAll('.add:not([hidden])')) add.click()"
METERS = """
title: Meters
key: C

section A  meter: 4/4
| Dm7 |

section B  meter: 3/4
| G7 |

section C  meter: 5/4
| Cmaj7 |
"""
CROWDED = """
title: Crowded
key: Db

section A
| Ebmaj7#11 Abm7b5 Db13b9 Gbmaj7#11 | Ebm7b5/Bbb | Db7alt Gb13#11 | Dbmaj7#11/Ab Bbm11 |
"""
HOSTILE = """
title: </script><script>globalThis.bad=1</script> "quoted" & 'so' \u202eleft\u202c 🎷 <!-- <script>
by:    <img src=x onerror="globalThis.bad=1">
key:   C
tempo: 120

section A
| Dm7 | G7 | Cmaj7 | % |
"""


@pytest.fixture
def page(tab: Page, long_file: Path) -> Page:
    return opened(tab, long_file)


@pytest.fixture(scope="module")
def crowded_file(maker: PageMaker, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The page of a tune with four long chord names in a bar."""
    path = tmp_path_factory.mktemp("page") / "crowded.html"
    path.write_bytes(maker.page(read(CROWDED)))
    return path


def measure(page: Page, bar: int) -> Any:
    return page.locator(".measure").nth(bar - 1)


def overlaps(page: Page, *selectors: str) -> list[str]:
    """Pairs of the selected elements that cover each other by more than a pixel."""
    pairs: list[str] = page.evaluate(
        """(selectors) => {
          const all = [...document.querySelectorAll(selectors.join())];
          const boxes = all.map((one) => one.getBoundingClientRect());
          const pairs = [];
          boxes.forEach((a, i) => boxes.slice(i + 1).forEach((b, j) => {
            const wide = Math.min(a.right, b.right) - Math.max(a.left, b.left);
            const high = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top);
            if (wide > 1 && high > 1) {
              const words = [all[i], all[i + 1 + j]].map((one) => one.id || one.textContent);
              pairs.push(words.join(" and "));
            }
          }));
          return pairs;
        }""",
        list(selectors),
    )
    return pairs


def test_it_needs_no_network(tab: Page, long_file: Path) -> None:
    asked: list[str] = []
    tab.on("request", lambda request: asked.append(request.url))
    opened(tab, long_file)
    assert [url for url in asked if not url.startswith("data:")] == [long_file.as_uri()]


def test_a_page_is_small_enough_to_send(long_file: Path) -> None:
    assert long_file.stat().st_size < 5_000_000


def test_the_first_sound_comes_within_half_a_second(page: Page) -> None:
    waited = page.evaluate(
        """async () => {
          const app = globalThis.practice;
          const before = performance.now();
          app.settings.routine.countIn = true;
          document.getElementById("play").click();
          const first = Math.min(...app.player.given.map((event) => event.voice.when));
          while (app.context.currentTime < first) await new Promise((go) => setTimeout(go, 1));
          return performance.now() - before;
        }"""
    )
    assert waited < 500


def test_a_blocked_page_hands_no_note_over_late(page: Page) -> None:
    late = page.evaluate(
        """async () => {
          const app = globalThis.practice;
          const play = app.sampler.play.bind(app.sampler);
          let late = 0;
          let notes = 0;
          app.sampler.play = (note, when, seconds) => {
            notes += 1;
            if (when < app.context.currentTime) late += 1;
            return play(note, when, seconds);
          };
          app.play(0, false);
          for (let block = 0; block < 5; block += 1) {
            await new Promise((go) => setTimeout(go, 300));
            const until = performance.now() + 200;
            while (performance.now() < until);
          }
          app.stop();
          return [late, notes > 20];
        }"""
    )
    assert late == [0, True]


def test_play_and_stop(page: Page) -> None:
    button = page.get_by_role("button", name="Play")
    button.click()
    expect(page.get_by_role("button", name="Stop")).to_be_visible()
    expect(page.locator("#now-tag")).to_have_text("count")
    expect(page.locator("#said")).to_have_text("Playing from bar 1")
    page.get_by_role("button", name="Stop").click()
    expect(button).to_be_visible()


def test_a_tapped_bar_is_where_it_starts(page: Page) -> None:
    page.get_by_role("button", name="Play").click()
    measure(page, 17).click()
    expect(measure(page, 17)).to_have_attribute("aria-current", "true")
    expect(page.locator("#now")).to_have_text("A7")


def test_this_chord_the_next_and_the_lines_between(page: Page) -> None:
    expect(page.locator("#now")).to_have_text("Fmaj7")
    expect(page.locator("#next")).to_have_text("Am7♭5")
    # by the nearest step from F major seventh to A half diminished: A goes to G, E to C
    assert page.locator("#lead text").all_text_contents() == ["A", "G", "E", "C"]


def test_a_loop_is_chosen_with_two_taps(page: Page) -> None:
    page.get_by_role("button", name="Loop").click()
    measure(page, 12).click()
    measure(page, 9).click()
    expect(page.locator("#loop")).to_have_attribute("aria-pressed", "true")
    expect(page.locator("#plan")).to_contain_text("Bars 9 to 12")
    assert page.evaluate("practice.settings.routine.bars") == [8, 9, 10, 11]
    page.locator("#loop").click()
    expect(page.locator("#plan")).to_contain_text("The whole chorus")
    page.get_by_role("button", name="Back to bars 9-12").click()
    expect(page.locator("#plan")).to_contain_text("Bars 9 to 12")


def test_a_tap_outside_a_loop_goes_into_it(page: Page) -> None:
    page.evaluate("practice.setLoop([8, 9, 10, 11])")
    measure(page, 7).click()
    expect(page.locator("#hint")).to_have_text("From bar 7 into the loop, 9-12.")
    assert page.evaluate("practice.settings.routine.bars") == [8, 9, 10, 11]
    page.get_by_role("button", name="Leave the loop").click()
    expect(page.locator("#plan")).to_contain_text("The whole chorus")


def test_the_keyboard_plays_and_moves(page: Page) -> None:
    page.keyboard.press("Space")
    expect(page.locator("#play-word")).to_have_text("Stop")
    page.keyboard.press("ArrowUp")
    expect(page.locator("#tempo")).to_have_value("170")
    page.keyboard.press("Space")
    page.keyboard.press("ArrowRight")
    expect(measure(page, 2)).to_be_focused()
    page.keyboard.press("]")
    expect(page.locator("#position")).to_have_text("Position 6")
    page.keyboard.press("b")
    expect(page.get_by_role("region", name="The band")).to_be_visible()
    page.keyboard.press("Escape")
    expect(page.get_by_role("region", name="The band")).to_be_hidden()


def test_another_key_renames_chords_and_tones(page: Page) -> None:
    page.locator("#drill").click()
    page.locator("#key").select_option(label="B♭ major")
    expect(page.locator("#now")).to_have_text("B♭maj7")
    expect(page.locator("#next")).to_have_text("Dm7♭5")
    assert page.locator("#lead text").first.text_content() == "D"


def test_settings_are_remembered(page: Page, long_file: Path) -> None:
    page.locator("#band").click()
    page.get_by_role("button", name="Comp (piano)").click()
    page.locator("#drill").click()
    page.get_by_role("button", name="Add: trade").click()
    page.locator("#trade").fill("8")
    page.locator("#tempo").fill("90")
    page.locator("#tempo").press("Enter")
    opened(page, long_file)
    page.locator("#band").click()
    expect(page.get_by_role("button", name="Comp (piano)")).to_have_attribute(
        "aria-pressed", "false"
    )
    expect(page.locator("#tempo")).to_have_value("90")
    expect(page.locator("#trade")).to_have_value("8")
    expect(page.locator("#plan")).to_contain_text("trading eights with the drums, you first")


def test_a_scrambled_storage_does_not_stop_the_page(page: Page, long_file: Path) -> None:
    page.evaluate(
        """() => {
          const name = `practice page: ${practice.data.title} ${practice.data.id}`;
          localStorage.setItem(name, '{"routine": {"bars": [1e9], "keys": "x"}');
        }"""
    )
    opened(page, long_file)
    expect(page.locator("#plan")).to_contain_text("The whole chorus at 168 in F major")


def test_numbers_out_of_range_are_taken_back(page: Page) -> None:
    page.locator("#tempo").fill("9000")
    page.locator("#tempo").press("Enter")
    assert page.evaluate("practice.settings.routine.tempo") == 400
    page.locator("#drill").click()
    page.get_by_role("button", name="Add: rest bar").click()
    page.locator("#rest-bars").fill("99")
    page.locator("#rest-bars").blur()
    expect(page.locator("#rest-bars")).to_have_value("8")


def test_hostile_text_is_shown_and_does_nothing(
    tab: Page, maker: PageMaker, tmp_path: Path
) -> None:
    form = read(HOSTILE)
    file = tmp_path / "hostile.html"
    file.write_bytes(maker.page(form))
    opened(tab, file)
    assert tab.locator("#title").inner_text() == form.title
    assert form.by in tab.locator("#about").inner_text()
    assert tab.evaluate("globalThis.bad") is None
    assert tab.locator("img, b").count() == 0
    assert tab.title().replace(" ", "") == form.title.replace(" ", "")


def test_nothing_but_its_own_script_may_run(browser: Browser, long_file: Path) -> None:
    context = browser.new_context()
    page = opened(context.new_page(), long_file)
    policy = page.locator("meta[http-equiv]").get_attribute("content") or ""
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    assert len(re.findall("'sha256-", policy)) == 2
    blocked = page.evaluate(
        """() => new Promise((told) => {
          const tell = (event) => told(event.effectiveDirective);
          document.addEventListener("securitypolicyviolation", tell);
          const script = document.createElement("script");
          script.textContent = "globalThis.bad = 1";
          document.body.append(script);
        })"""
    )
    assert blocked == "script-src-elem"
    assert page.evaluate("globalThis.bad") is None
    context.close()


@pytest.mark.parametrize("scheme", ["light", "dark", "forced"])
def test_axe_finds_nothing(browser: Browser, long_file: Path, scheme: str) -> None:
    context = browser.new_context(
        color_scheme="dark" if scheme == "dark" else "light", bypass_csp=True,
        forced_colors="active" if scheme == "forced" else "none", reduced_motion="reduce",
    )  # fmt: skip
    page = opened(context.new_page(), long_file)
    page.add_script_tag(path=AXE)
    page.evaluate("practice.setLoop([8, 9, 10, 11, 12, 13, 14, 15])")
    page.evaluate(ADD_ALL)
    for sheet in (None, "band", "drill", "take", "view"):
        if sheet:
            page.locator(f"#{sheet}").click()
        found = page.evaluate("axe.run().then((result) => result.violations)")
        assert [(v["id"], v["nodes"][0]["html"]) for v in found] == [], sheet
        if sheet == "view":
            page.evaluate("practice.stand()")
            found = page.evaluate("axe.run().then((result) => result.violations)")
            assert [(v["id"], v["nodes"][0]["html"]) for v in found] == [], "stand"
    context.close()


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("text", ["1", "1.5"])
def test_it_fits_every_screen(browser: Browser, long_file: Path, size: str, text: str) -> None:
    width, height = SIZES[size]
    context = browser.new_context(viewport={"width": width, "height": height})
    page = opened(context.new_page(), long_file)
    page.locator("#view").click()
    page.locator("#size").select_option(text)
    page.evaluate(ADD_ALL)
    for sheet in ("view", "band", "drill"):
        page.evaluate("name => practice.open(null) || practice.open(name)", sheet)
        wide = page.evaluate("document.documentElement.scrollWidth")
        assert wide <= width, f"{sheet} is {wide} wide"
    assert page.locator("#play").is_visible()
    for button in page.get_by_role("button").all():
        box = button.bounding_box()
        # WCAG 2.2, 2.5.8: a target is at least 24 by 24 CSS pixels
        assert box is None or min(box["width"], box["height"]) >= 24
    context.close()


def test_without_a_script_it_says_so_and_shows_the_changes(
    browser: Browser, long_file: Path
) -> None:
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(long_file.as_uri())
    assert "plays only where its script may run" in page.locator("body").inner_text()
    assert "| Fmaj7 | Am7♭5 D7♭9 | Gm7 | B♭m7 E♭7 |" in page.locator("body").inner_text()
    context.close()


def test_on_paper_there_is_the_chart_and_no_dock(page: Page) -> None:
    page.emulate_media(media="print")
    expect(page.locator(".dock")).to_be_hidden()
    expect(measure(page, 32)).to_be_visible()


def test_it_says_what_made_it_and_whose_sounds_it_has(page: Page) -> None:
    made = page.locator("#credits")
    expect(made).to_contain_text(f'backing {__version__} · backing page "Corner Booth"')
    expect(made).to_contain_text("TimGM6mb (GPL-2), Copyright 2004 Tim Brechbill")
    expect(made).to_contain_text("SIL OFL 1.1")


def test_the_drill_is_a_sentence_to_be_changed_by_keyboard(page: Page) -> None:
    plan = page.locator("#plan")
    expect(plan).to_have_text("The whole chorus at 168 in F major, counted in.")
    page.keyboard.press("d")
    add = page.get_by_role("button", name="Add: climb")
    add.focus()
    page.keyboard.press("Enter")
    expect(page.locator("#climb-from")).to_be_focused()
    expect(add).to_be_hidden()
    page.keyboard.type("200")
    page.keyboard.press("Tab")
    expect(page.locator("#no-climb")).to_be_visible()
    page.keyboard.type("240")
    page.keyboard.press("Tab")
    expect(page.locator("#no-climb")).to_be_hidden()
    page.locator("#loop-of").select_option(label="Bars")
    page.locator("#from").fill("31")
    page.locator("#to").fill("2")
    page.locator("#to").blur()
    page.get_by_role("button", name="Add: rest bar").click()
    expect(plan).to_have_text(
        "Bars 31 to 2 in F major, climbing from 200 to 240 bpm in steps of 8, straight up, "
        "4 times each, counted in, 1 rest bar between times."
    )
    for times, words in (("1", "once each"), ("2", "twice each"), ("12", "12 times each")):
        page.locator("#times").fill(times)
        page.locator("#times").blur()
        expect(plan).to_contain_text(f"straight up, {words}, counted in")
    drop = page.get_by_role("button", name="Take out: climb")
    drop.focus()
    page.keyboard.press("Enter")
    expect(add).to_be_focused()
    assert page.evaluate("practice.settings.routine.climb") is None
    page.locator("#loop-of").select_option(label="B, bars 17–24,")
    expect(plan).to_contain_text("B, bars 17–24, at 168")


def test_a_sentence_says_what_the_settings_do(page: Page) -> None:
    """Every phrase that can be added changes what is played, and goes without a trace."""
    usual = page.evaluate("JSON.stringify(practice.settings.routine)")
    page.locator("#drill").click()
    for add in page.locator(".add").all():
        if not add.is_visible():
            continue  # the count-in is there already
        name = (add.text_content() or "").removeprefix("+ ")
        add.click()
        assert page.evaluate("JSON.stringify(practice.settings.routine)") != usual, name
        page.get_by_role("button", name=f"Take out: {name}", exact=True).click()
        after = page.evaluate("JSON.stringify(practice.settings.routine)")
        assert after == usual, name


def test_bars_are_as_long_as_their_beats(tab: Page, maker: PageMaker, tmp_path: Path) -> None:
    file = tmp_path / "meters.html"
    file.write_bytes(maker.page(read(METERS)))
    opened(tab, file)
    widths = [measure(tab, bar).bounding_box()["width"] for bar in (1, 2, 3)]
    assert [width / widths[0] * 4 for width in widths] == pytest.approx([4, 3, 5], abs=0.01)
    ticks = [row.locator(".tick").count() for row in tab.locator(".row").all()]
    assert ticks == [3, 2, 4]


def test_the_keyboard_passes_the_chart_with_one_stop(page: Page) -> None:
    page.evaluate("document.getElementById('as-opened').focus()")
    page.locator("#plan").focus()
    page.keyboard.press("Tab")
    expect(measure(page, 1)).to_be_focused()
    page.keyboard.press("ArrowRight")
    expect(measure(page, 2)).to_be_focused()
    page.keyboard.press("Tab")
    expect(page.locator("#play")).to_be_focused()


@pytest.mark.parametrize("focus", ["#plan", "#loop", "#click", "#tempo", "#volume", ".measure"])
def test_space_plays_and_stops_wherever_the_focus_is(page: Page, focus: str) -> None:
    page.evaluate("practice.open('band')")
    bars = page.evaluate("practice.settings.routine.bars")
    page.locator(focus).first.focus()
    page.keyboard.press("Space")
    expect(page.locator("#play-word")).to_have_text("Stop")
    page.keyboard.press("Space")
    expect(page.locator("#play-word")).to_have_text("Play")
    assert page.evaluate("practice.settings.routine.bars") == bars
    expect(page.locator("#band-sheet")).to_be_visible()


def test_letter_keys_can_be_turned_off(page: Page) -> None:
    page.keyboard.press("v")
    page.locator("#letters").select_option("false")
    page.locator("#view").focus()
    page.keyboard.press("b")
    expect(page.locator("#view-sheet")).to_be_visible()
    page.keyboard.press("Space")
    expect(page.locator("#play-word")).to_have_text("Stop")


def test_seeking_adds_no_animation(page: Page) -> None:
    calls = page.evaluate(
        """async () => {
          let calls = 0;
          const ask = globalThis.requestAnimationFrame;
          globalThis.requestAnimationFrame = (act) => { calls += 1; return ask(act); };
          practice.play(0, false);
          for (let bar = 0; bar < 30; bar += 1) practice.tap(bar);
          await new Promise((go) => ask(() => ask(go)));
          calls = 0;
          for (let frame = 0; frame < 10; frame += 1) await new Promise((go) => ask(go));
          practice.stop();
          return calls;
        }"""
    )
    assert calls <= 11


def test_what_was_chosen_gives_way_to_how_the_file_opens(page: Page, long_file: Path) -> None:
    again = page.get_by_role("button", name="As the file opens")
    expect(again).to_be_hidden()
    page.evaluate("practice.setLoop([8, 9]); practice.setTempo(90); practice.movePosition(2)")
    opened(page, long_file)
    expect(page.locator("#plan")).to_contain_text("Bars 9 to 10 at 90")
    again.click()
    expect(page.locator("#plan")).to_have_text("The whole chorus at 168 in F major, counted in.")
    expect(page.locator("#position")).to_have_text("Position 5")
    expect(again).to_be_hidden()


def test_stop_offers_the_top(page: Page) -> None:
    page.evaluate("practice.setLoop([8, 9, 10, 11]); practice.play(10, false)")
    page.evaluate("practice.play(10, false) || practice.stop()")
    expect(page.locator("#now-tag")).to_have_text("bar 11")
    page.get_by_role("button", name="From the top").click()
    expect(page.locator("#now-tag")).to_have_text("bar 9")


def test_a_context_that_is_suspended_says_so_and_goes_on(page: Page) -> None:
    page.locator("#play").click()
    page.evaluate("practice.context.suspend()")
    expect(page.locator("#notice")).to_contain_text("has taken the sound away")
    expect(page.locator("#play-word")).to_have_text("Go on")
    page.locator("#play").click()
    expect(page.locator("#play-word")).to_have_text("Stop")
    expect(page.locator("#notice")).to_be_hidden()


def test_a_damaged_file_says_so(tab: Page, long_file: Path, tmp_path: Path) -> None:
    text = long_file.read_text("utf-8")
    at = text.index('id="strip">') + 200
    damaged = tmp_path / "damaged.html"
    damaged.write_text(text[:at] + "A" * 4000 + text[at + 4000 :], "utf-8")
    damaged.write_text(text[: at - 190] + "AAAA" * 50 + text[text.index("</script", at) :], "utf-8")
    tab.goto(damaged.as_uri())
    expect(tab.locator("#notice")).to_contain_text("it is damaged")
    expect(tab.locator("#play")).to_be_disabled()


def test_a_device_without_sound_says_so(page: Page) -> None:
    page.evaluate(
        "Object.defineProperty(practice.context, 'currentTime', { get: () => 0 });"
        "practice.play(0, false)"
    )
    expect(page.locator("#notice")).to_contain_text("No sound comes")
    expect(page.locator("#play-word")).to_have_text("Play")


def test_a_storage_that_refuses_is_said(page: Page) -> None:
    page.evaluate("() => { Storage.prototype.setItem = () => { throw new Error('full') } }")
    page.locator("#view").click()
    expect(page.locator("#kept")).to_be_hidden()
    page.locator("#size").select_option("1.25")
    expect(page.locator("#kept")).to_be_visible()


def test_the_ribbon_is_thin_or_full_and_never_off(page: Page) -> None:
    page.locator("#view").click()
    for ribbon, tones in (("full", True), ("thin", False)):
        page.locator("#ribbon").select_option(ribbon)
        for row in page.locator(".row").all():
            assert row.locator(".guide-line.third").count() == 1
            assert row.locator(".guide-line.seventh").count() == 1
            assert (row.locator("text").count() > 0) == tones
    solid, dashed = (
        page.locator(f".row .{line}").first.evaluate(
            "line => getComputedStyle(line).strokeDasharray"
        )
        for line in ("guide-line.third", "guide-line.seventh")
    )
    assert solid == "none"
    assert dashed != "none"


def test_no_text_takes_a_font_of_the_machine(page: Page) -> None:
    page.locator("#drill").click()
    page.evaluate("document.fonts.ready")
    devtools = page.context.new_cdp_session(page)
    devtools.send("DOM.enable")
    devtools.send("CSS.enable")
    root = devtools.send("DOM.getDocument")["root"]["nodeId"]
    asked = {"nodeId": root, "selector": "body *:not(script):not(option)"}
    fonts: set[tuple[str, bool]] = set()
    for node in devtools.send("DOM.querySelectorAll", asked)["nodeIds"]:
        used = devtools.send("CSS.getPlatformFontsForNode", {"nodeId": node})["fonts"]
        fonts |= {(font["familyName"], font["isCustomFont"]) for font in used}
    assert fonts == {("Backing Text", True)}


def test_a_part_is_read_above_what_sounds(page: Page) -> None:
    """A B flat instrument reads a major second above what sounds, an E flat alto a major sixth."""
    page.locator("#view").click()
    for part, chord, third in (("Bb", "Gmaj7", "B"), ("Eb", "Dmaj7", "F♯"), ("C", "Fmaj7", "A")):
        page.locator("#part").select_option(part)
        expect(page.locator("#now")).to_have_text(chord)
        expect(page.locator("#lead text").first).to_have_text(third)
        expect(page.locator(".chords > span").first).to_have_text(chord)
    page.locator("#part").select_option("Bb")
    expect(page.locator("#plan")).to_contain_text("in G major")
    assert page.evaluate("practice.data.keys[practice.settings.routine.keys[0]].semitones") == 0


def test_a_link_opens_the_page_the_same_way(page: Page, long_file: Path, tab: Page) -> None:
    page.evaluate("practice.asOpened()")
    page.evaluate(
        """() => {
          const { routine, mix } = practice.settings;
          Object.assign(routine, { trade: 4, partnerFirst: true, times: 2, grow: true });
          mix.on.comp = false;
          practice.setLoop([16, 17, 18, 19]);
        }"""
    )
    said = page.locator("#plan").inner_text()
    link = page.evaluate("document.getElementById('link').hash")
    assert link == "#bars=17-20&times=2&trade=4+drums+first&drill=grow&without=comp"
    page.evaluate("practice.asOpened()")
    tab.goto(f"{long_file.as_uri()}{link}")
    expect(tab.locator("#plan")).to_have_text(said)
    assert tab.evaluate("practice.settings.mix.on.comp") is False
    tab.goto(f"{long_file.as_uri()}#bars=99&climb=80-140:8")
    expect(tab.locator("#notice")).to_contain_text("--bars 99")
    expect(tab.locator("#plan")).to_contain_text("climbing from 80 to 140 bpm in steps of 8")


def test_the_whole_form_shows_the_head_and_comes_to_an_end(page: Page) -> None:
    page.locator("#drill").click()
    page.locator("#loop-of").select_option("form")
    expect(page.locator("#plan")).to_contain_text("The whole form, head to ending, in 3 choruses")
    for add in ("climb", "keys", "grow"):
        expect(page.get_by_role("button", name=f"Add: {add}")).to_be_hidden()
    head, out = page.evaluate("[practice.data.form.head[0], practice.data.form.out.held.at(-1)]")
    assert page.evaluate("practice.cursor") == head
    page.evaluate("bar => practice.play(bar, false)", out)
    expect(page.locator("#now")).to_have_text("F6/9")
    expect(page.locator("#play-word")).to_have_text("Play")
    expect(page.locator("#now-tag")).to_have_text("bar 1")


def test_the_line_is_lit_where_its_notes_lie(page: Page) -> None:
    """A note of the line is lit on its own string and fret, with its finger."""
    lit, shown = page.evaluate(
        """() => {
          const [neck] = practice.screen.necks;
          const place = practice.data.line.lines[0].takes[0][0].slice(2, 5);
          const pitch = practice.data.neck.strings[place[0] - 1] + parseInt(place[1], 36);
          practice.screen.light(() => [{ pitch, place }]);
          return [[...document.querySelectorAll("#neck .lit, #neck .finger")].map((one) =>
            one.textContent), place[2]];
        }"""
    )
    assert lit == ["", shown]


def test_a_call_and_subdivisions_are_chosen_where_they_are_said(page: Page) -> None:
    page.locator("#drill").click()
    page.get_by_role("button", name="Add: line").click()
    # what the file opens with is eighths; a loop can have one subdivision after another
    expect(page.locator("#plan")).to_contain_text("with an etude in subdivisions")
    expect(page.locator("#words")).to_have_text('--times 4 --line "etude subdivisions"')
    page.locator("#play").click()
    assert page.evaluate("practice.player.rounds.steps.map(({ line }) => line)") == [1, 2, 3, 0, 4]
    page.locator("#play").click()
    page.locator("#line").select_option("call on 1&")
    expect(page.locator("#plan")).to_contain_text("with a call on 1&.")
    expect(page.locator("#words")).to_have_text('--line "etude call on 1&"')
    link = page.evaluate("document.getElementById('link').hash")
    page.locator("#band").click()
    named = page.locator('#parts [data-part="etude"]')
    expect(named).to_have_text("Call on 1&")
    named.click()  # the line is taken out: it is no longer said
    expect(page.locator("#words")).to_have_text("")
    page.evaluate("hash => { location.hash = hash; }", link)
    expect(page.locator("#plan")).to_contain_text("with a call on 1&.")
    # the first call starts on the and of 1
    bar = page.evaluate("practice.data.line.lines[6].takes[0].findIndex((text) => text)")
    first = page.evaluate(
        "bar => practice.data.line.strokes[parseInt("
        "practice.data.line.lines[6].takes[0][bar].slice(0, 2), 36)][0]",
        bar,
    )
    assert first == 240


def test_the_band_says_what_the_file_holds_of_it(page: Page) -> None:
    page.locator("#band").click()
    holds = page.locator("#band-sheet .small")
    expect(holds).to_contain_text("one band: swing, piano comp, as at a rehearsal.")
    expect(holds).to_contain_text("backing page TUNE --feel bossa --comp guitar --occasion gig")
