// Sessions in the words of the command line, into a link and back.

import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { test } from "node:test";

import { barsOf, readWords, wordsOf } from "../../backing/page/web/session.js";
import { plain } from "../../backing/page/web/settings.js";
import { tune } from "./tune.js";

/** A tune of sections. @param {[string, number][]} sections */
function form(sections) {
  const four = tune();
  const bars = sections.flatMap(([section, count]) => Array.from({ length: count }, (_, at) => ({ section, top: at === 0 })));
  return { ...four, chorus: bars.length, bars: bars.map((bar, at) => ({ ...four.bars[0], ...bar, label: `${at + 1}` })) };
}

const KEYS = ["G♭ major", "G major", "A♭ major", "A major", "B♭ major", "B major", "C major", "D♭ major", "D major", "E♭ major", "E major", "F major"];

/** Lines by their words. @param {string[]} words */
const lines = (...words) => words.map((each) => ({ words: each, kind: "line", unbroken: true, takes: [[]] }));

/** @returns {any} */
function inTwelve() {
  const line = {
    opens: "eighths", besides: "etude level 2", lines: lines("eighths", "wholes", "call on 1", "call on 1&"), subdivisions: [1, 0],
    calls: [2, 3], strokes: [],
  };
  return {
    ...form([["A", 8], ["B", 8]]), line, form: { head: [16], out: { held: [17], slow: [18] } }, keys: KEYS.map((name, at) => ({ name, semitones: at - 6 })),
  };
}

test("bars are named as on the command line", () => {
  const { sections, cases } = JSON.parse(readFileSync(new URL("../cases/selections.json", import.meta.url), "utf-8"));
  const data = form(sections);
  for (const { words, bars } of cases) {
    const found = barsOf(data, words);
    assert.deepEqual(found && found.map((bar) => bar + 1), bars, words);
  }
});

test("a session goes into words and comes back", () => {
  const data = inTwelve();
  for (const words of [
    {},
    { bars: "B", tempo: "90", drill: "lead-in 2, rest bars 2, lay out 4, same", "count-in": "0" },
    { bars: "15-2", climb: "80-140:8 up-and-back", times: "4" },
    { climb: "60%", times: "2", key: "fourths from Eb" },
    { key: "C F Bb", times: "1", drill: "rest bar, grow", trade: "4 drums first" },
    { key: "F", trade: "8 with line line first" },
    { choruses: "5", trade: "4 with line" },
    { choruses: "4", ending: "slow", line: "etude level 2" },
    { bars: "B", line: "etude level 2 call on 1&" },
    { line: "etude level 2 call" },
    { tempo: "90", times: "2", line: "etude level 2 subdivisions" },
  ]) {
    const { routine, refused } = readWords(data, words);
    assert.deepEqual(refused, []);
    assert.deepEqual(wordsOf(data, { ...plain(data), ...routine }), words);
  }
});

test("a line is asked for in a player's words, in any order", () => {
  const said = { "call on each in turn": "call", "on 1&": "call on 1&", "level 2 etude": "eighths", subdivisions: "subdivisions", "etude, call on 1": "call on 1" };
  for (const [text, line] of Object.entries(said)) assert.deepEqual(readWords(inTwelve(), { line: text }), { routine: { line }, refused: [] }, text);
});

test("what is not understood is told", () => {
  const wrong = { bars: "40-50", climb: "140-80:8", key: "H", trade: "fours", drill: "rest bar, jump", tempo: "9", times: "0", colour: "red", line: "etude level 3", ending: "tag" };
  const { routine, refused } = readWords(inTwelve(), wrong);
  assert.deepEqual(routine, {});
  assert.deepEqual(refused, Object.entries(wrong).map(([name, text]) => `--${name} ${text}`));
});
