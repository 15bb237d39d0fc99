// The table of takes that the tracks' program answers too (tests/take/test_account.py): here the page answers it.

import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { test } from "node:test";

import { account } from "../../backing/page/web/take_account.js";
import { advise } from "../../backing/page/web/take_advice.js";
import { Course } from "../../backing/page/web/take_course.js";
import { figuresOf } from "../../backing/page/web/take_report.js";
import { seriesOf } from "../../backing/page/web/take_weeks.js";

const { cases, logs, symbols, table } = JSON.parse(readFileSync(new URL("../cases/takes.json", import.meta.url), "utf-8"));

/** @param {any} each */
function courseOf(each) {
  let seconds = 0;
  const bars = each.bars.map((/** @type {any} */ [label, start, beats, tempo, swing, yours, where = ""]) => {
    const bar = { label, where, start, beats, seconds, tempo, swing, yours };
    seconds += (beats * 60) / tempo;
    return bar;
  });
  const chords = each.chords.map((/** @type {any} */ [start, end, symbol]) => ({ start, end, symbol, ...symbols[symbol], ...each.shapes?.[symbol] }));
  const plain = new Course("Case", bars, chords, table);
  const line = (each.line ?? []).map((/** @type {any} */ [beat, pitch]) => ({ beat, pitch, seconds: plain.secondsAt(beat) }));
  return new Course("Case", bars, chords, table, line, each.kind ?? "", each.unbroken ?? false, each.position ?? null);
}

/** All that a case may name. @param {any} each @returns {any} */
function said(each) {
  const course = courseOf(each);
  const notes = each.notes.map((/** @type {any} */ [beat, length, pitch, level]) => ({
    onset: course.secondsAt(beat), end: course.secondsAt(beat + length), pitch, level, sure: 1, cents: 0,
  }));
  const heard = { notes, tuning: 0, doubts: [], exact: true, clean: true, refusal: "", remarks: [], ...each.heard };
  const told = account(course, heard, 0);
  const advice = advise(course, told);
  const label = (/** @type {number} */ bar) => course.bars[bar].label;
  const loop = advice.loop.map(label);
  return {
    notes: told.notes.length,
    kinds: told.notes.map(({ kind }) => kind),
    tones: told.tones, tones_on: told.tonesOn, tones_off: told.tonesOff,
    degrees: told.degrees,
    in_shape: told.inShape,
    shape: new Map(figuresOf({ course, told, live: false })).get("in the shape"),
    outside: told.outside.map((n) => [label(n.bar), n.beat, n.name, n.chord, n.nearest, n.kind, n.goesTo]),
    changes: told.crossings.map((c) => [c.way, c.size, c.left, c.reached]),
    slips: told.slips.map((s) => [s.bars.map(label), s.by, s.swapped]),
    shifts: told.timing.shifts.map((s) => [label(s.bar), Math.round(s.ms)]),
    swing: told.timing.swing, swing_pairs: told.timing.pairs, accent: told.timing.accent, drift: told.timing.drift,
    longest_run: told.phrases.longest?.notes ?? 0,
    breaks: told.phrases.breaks.map((b) => [label(b.bar), course.counted(b.eighth, b.bar)]),
    phrases: told.phrases.count, echoes: told.phrases.echoes, space: told.phrases.space,
    unclear: told.unclear,
    line: told.along && [
      told.along.notes, told.along.right,
      told.along.departures.map((d) => [label(d.bar), course.counted(d.eighth, d.bar), d.wanted, d.played]),
    ],
    answers: told.answers.map((a) => [label(a.bar), a.strokes, a.takenUp]),
    tempos: told.tempos.map((t) => [t.tempo, t.notes, t.outside]),
    faults: advice.faults.map(({ topic }) => topic),
    sentences: advice.sentences,
    loop: loop.join("-"),
  };
}

for (const each of cases) {
  test(each.name, () => {
    const mine = said(each);
    for (const [name, wanted] of Object.entries(each.said)) {
      const about = typeof wanted === "number" && ["swing", "accent", "drift", "space", "tones", "tones_on", "tones_off"].includes(name);
      if (about) assert.ok(Math.abs(mine[name] - wanted) <= 0.01 + 1e-9, `${name}: ${mine[name]} is not ${wanted}`);
      else assert.deepEqual(mine[name], wanted, name);
    }
  });
}

for (const { name, takes, series } of logs) {
  test(`the plot of a log: ${name}`, () => {
    const mine = seriesOf(takes, table);
    assert.deepEqual([...mine.keys()], Object.keys(series));
    for (const [figure, points] of Object.entries(series)) {
      const found = mine.get(figure) ?? [];
      assert.deepEqual(found.map(([day]) => day), points.map(([day]) => day), figure);
      found.forEach(([, value], at) => assert.ok(Math.abs(value - points[at][1]) < 1e-9, figure));
    }
  });
}

test("a take that another program wrote leaves its gaps, and breaks nothing", () => {
  const [first] = logs[0].takes;
  const strange = { ...first, tempo: "fast", tones: undefined, changes: null, time: 3 };
  const found = seriesOf([first, strange], table);
  assert.deepEqual([...found.values()].map((points) => points.length), [1, 1, 1, 2, 1]);
});
