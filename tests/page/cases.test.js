// The tables of cases that the tracks answer too (tests/test_cases.py): here the page answers them.

import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { test } from "node:test";

import { climbOf, climbWords, temposOf } from "../../backing/page/web/climb.js";
import { Clock } from "../../backing/page/web/clock.js";
import { Rounds } from "../../backing/page/web/rounds.js";
import { melodicLateness, swingPlace, swingRatio } from "../../backing/page/web/swing.js";
import { routine, run, tune } from "./tune.js";

/** @param {string} name @returns {any} */
const table = (name) => JSON.parse(readFileSync(new URL(`../cases/${name}.json`, import.meta.url), "utf-8"));

/** A number written as a whole one, a fraction or a decimal. @param {string} text */
const number = (text) => text.split("/").map(Number).reduce((above, below) => above / below);

/** @param {number} a @param {number} b @param {string} what */
const near = (a, b, what) => assert.ok(Math.abs(a - b) < 1e-9, `${what}: ${a} is not ${b}`);

/** So many bars of 4/4, at a tempo of their own. @param {number} bars @param {number} tempo */
function form(bars, tempo) {
  const four = tune();
  return { ...four, tempo, chorus: bars, bars: Array.from({ length: bars }, (_, at) => ({ ...four.bars[0], label: `${at + 1}` })) };
}

/** The turns that a page plays. @param {any} data @param {object} wanted @param {number} count */
function played(data, wanted, count) {
  const asked = routine(wanted);
  const rounds = new Rounds(data, asked);
  rounds.start(asked.bars[0], asked.countIn);
  return Array.from({ length: count }, () => rounds.next());
}

const swing = table("swing");

test("the ride swings by tempo", () => {
  for (const [tempo, ratio] of swing.ratios) assert.equal(swingRatio("ride", tempo, swing.table), ratio, `${tempo} bpm`);
});

test("the ride wanders", () => {
  for (const [tempo, factor, ratio] of swing.wandered) {
    assert.equal(swingRatio("ride", tempo, swing.table, factor), ratio, `${tempo} bpm, ${factor}`);
  }
});

test("an off-beat has its place", () => {
  for (const [beat, ratio, place] of swing.places) {
    near(swingPlace(number(beat), number(ratio)), number(place), `${beat} at ${ratio}`);
  }
});

test("a line is late on the beat", () => {
  for (const [tempo, ratio, late] of swing.lateness) {
    assert.equal(melodicLateness(tempo, ratio, swing.table), late, `${tempo} bpm, ${ratio}`);
  }
});

test("beats become seconds, and come back", () => {
  for (const { tempos, seconds } of table("clock").cases) {
    const clock = new Clock();
    for (const [beat, bpm] of tempos) {
      const start = number(beat);
      clock.set(start, start > 0 ? clock.time(start) : 0, number(bpm));
    }
    for (const [beat, time] of seconds) {
      near(clock.time(number(beat)), number(time), `beat ${beat}`);
      near(clock.beat(number(time)), number(beat), `${time} s`);
    }
  }
});

test("the turn passes", () => {
  for (const { bars, trade, first, times, turns } of table("trading").cases) {
    const wanted = { bars: run(0, bars - 1), trade, partnerFirst: first === "partner" };
    const whose = played(form(bars, 120), wanted, bars * times).map(({ resting }) => (resting.has("bass") ? "p" : "y"));
    const words = turns.map((/** @type {string} */ _, /** @type {number} */ at) => whose.slice(at * bars, (at + 1) * bars).join(""));
    assert.deepEqual(words, turns, `${bars} bars, ${trade} at a time, ${first} first`);
  }
});

/** Lines that sound in bars with a "#". @param {string[]} words @param {string} bars */
const linesIn = (words, bars) =>
  words.map((each) => ({ words: each, kind: "line", unbroken: true, takes: [[...bars].map((sign) => (sign === "#" ? "00101" : ""))] }));

test("subdivisions follow each other", () => {
  for (const { meter, bars, times, climb, keys, played: meant } of table("lines").subdivisions) {
    const data = form(bars, 140);
    data.bars = data.bars.map((/** @type {object} */ bar) => ({ ...bar, meter }));
    const turns = meant.split(" ");
    const values = [...new Set(turns.map((/** @type {string} */ turn) => turn.split("@")[0]))];
    data.line = { ...data.line, lines: linesIn(values, "#".repeat(bars)), subdivisions: values.map((_, at) => at) };
    const wanted = { bars: run(0, bars - 1), line: "subdivisions", times, climb: climb && climbOf(climb, 140), keys: run(0, keys - 1), tempo: 140 };
    const found = played(data, wanted, bars * turns.length).filter((_, at) => at % bars === 0);
    const words = found.map(({ line, tempo, take }) => `${values[line]}@${tempo}#${take}`);
    assert.equal(words.join(" "), meant, `${bars} bars of ${meter}`);
  }
});

test("calls start on each beat in turn", () => {
  for (const { bars, times, called, starts } of table("lines").calls) {
    const data = form(bars, 140);
    const words = ["1", "1&", "2", "3"];
    data.line = { ...data.line, lines: linesIn(words, called), calls: [0, 1, 2, 3] };
    const turns = played(data, { bars: run(0, bars - 1), line: "call" }, bars * times);
    const first = (/** @type {number} */ at) => called[at % bars] === "#" && called[(at % bars) - 1] !== "#";
    const found = turns.map(({ line }, at) => (first(at) ? words[line] : "")).filter(Boolean);
    assert.equal(found.join(" "), starts.join(" "), called);
    turns.forEach(({ line }, at) => assert.ok(called[at % bars] !== "#" || first(at) || line === turns[at - 1].line));
  }
});

test("a climb has its tempos in every order, and stays at the last", () => {
  for (const { from, to, step, unit, order, tune: own, tempos } of table("climbs").cases) {
    const sign = unit === "percent" ? "%" : "";
    const climb = climbOf(`${from}-${to}:${step}${sign} ${order}`, own);
    for (const times of [1, 3]) {
      const found = played(form(1, own), { bars: [0], climb, times }, (tempos.length + 2) * times).map(({ tempo }) => tempo);
      const last = tempos[tempos.length - 1];
      const meant = [...tempos, last, last].flatMap((tempo) => Array(times).fill(tempo));
      meant.forEach((tempo, at) => near(found[at], tempo, `${from}-${to}:${step} ${unit} ${order}, time ${at + 1}`));
    }
  }
});

test("a climb is said in the same words", () => {
  for (const { words, tune: own, tempos } of table("climbs").said) {
    const climb = climbOf(words, own);
    if (tempos === null) assert.deepEqual(climb && temposOf(climb, own).length > 0 ? words : null, null, words);
    else temposOf(climb, own).forEach((tempo, at) => near(tempo, number(tempos[at]), `${words}, step ${at + 1}`));
    if (climb && tempos) assert.equal(temposOf(climb, own).length, tempos.length, words);
    if (climb && tempos) assert.deepEqual(temposOf(climbOf(climbWords(climb), own), own), temposOf(climb, own), words);
  }
});

test("one bar follows another", () => {
  for (const each of table("drills").cases) {
    const wanted = {
      bars: run(each.from - 1, each.to - 1), tempo: each.tempo, countIn: each.count_in, leadIn: each.lead_in,
      restBars: each.rest_bars, layOut: each.lay_out,
    };
    const meant = each.played.split(" ");
    const signs = played(form(each.bars, each.tempo), wanted, meant.length).map(({ kind, bar, resting }) => {
      if (kind === "count") return "c";
      if (kind === "lead") return `l${bar + 1}`;
      if (kind === "play") return `${bar + 1}${resting.has("kit") ? "-" : ""}`;
      return "r";
    });
    assert.equal(signs.join(" "), each.played);
  }
});
