import assert from "node:assert/strict";
import { test } from "node:test";

import { levelsOf } from "../../backing/page/web/audio.js";
import { dotsOf, movesOf } from "../../backing/page/web/neck.js";
import { remember, remembered } from "../../backing/page/web/settings.js";
import { Spans } from "../../backing/page/web/spans.js";
import { spoken } from "../../backing/page/web/symbols.js";
import { lineIn, rowsOf } from "../../backing/page/web/ribbon.js";
import { tune } from "./tune.js";

test("chord symbols are said in words", () => {
  assert.equal(spoken(["A♭", "maj7", ""]), "A flat major 7");
  assert.equal(spoken(["F♯", "m7♭5", ""]), "F sharp minor 7 flat 5");
  assert.equal(spoken(["B", "dim7", ""]), "B diminished 7");
  assert.equal(spoken(["C", "", "G"]), "C over G");
  assert.equal(spoken(["C", "7(♭9,♯11)", ""]), "C 7( flat 9, sharp 11)");
  assert.equal(spoken(null), "no chord");
});

test("while a guide line is heard, the comp is the one that leaves it room", () => {
  const data = tune();
  const part = (/** @type {string} */ id, /** @type {string} */ voice, more = {}) => ({ id, name: id, voice, takes: [], ...more });
  data.parts.push(part("comp below", "comp", { instead_of: "comp" }), part("third", "guide"));
  const heard = (/** @type {Record<string, boolean>} */ on) =>
    levelsOf(data, { on, levels: { comp: 0.5 }, click: "", volume: 1 }).filter(({ level }) => level > 0);
  assert.deepEqual(heard({ comp: true }), [{ id: "comp", level: 0.5 }]);
  assert.deepEqual(heard({ comp: true, third: true }), [{ id: "comp below", level: 0.5 }, { id: "third", level: 1 }]);
  assert.deepEqual(heard({ third: true }), [{ id: "third", level: 1 }]);
});

test("rows end where sections do", () => {
  const bars = [true, false, false, false, false, false, true, false].map((top) => ({ top }));
  assert.deepEqual(rowsOf(bars, 4).map(({ first, count }) => [first, count]), [[0, 4], [4, 2], [6, 2]]);
});

test("a line comes into its row at the height it had, and goes to its end", () => {
  const line = /** @type {any} */ ([[0, 0, 60, "3", 0], [3, 0, 58, "♭7", 1]]);
  const row = { first: 2, count: 2 };
  const place = (/** @type {number} */ bar) => (bar - 2) * 100;
  const { path, tones } = lineIn(line, row, place, 200, 25, (pitch) => 100 - pitch);
  assert.ok(path.startsWith("M0 40"));
  assert.ok(path.endsWith("100 42H200"));
  assert.deepEqual(tones.map(({ x, y }) => [x, y]), [[100, 42]]);
});

test("the chord after the last of a loop is its first", () => {
  const spans = new Spans(tune());
  assert.equal(spans.at(2, 3.9), 2);
  assert.equal(spans.after(2, 2, [1, 2]), 1);
  assert.equal(spans.after(3, 3, [0, 1, 2, 3]), 0);
  assert.equal(spans.after(3, 3, [3, 1]), 1);
  assert.equal(spans.after(0, 0, [2, 3]), 1);
  assert.equal(spans.left(1, 1, 1.5, [0, 1, 2, 3]), 2.5);
});

test("dots are read, and each near tone of the next chord is reached from the nearest", () => {
  const here = dotsOf("1503 2671");
  assert.deepEqual(here[0], { string: 1, fret: 5, above: 0, finger: 3, light: false });
  const moves = movesOf(dotsOf("1501 1841"), dotsOf("1611 1941 3201"), [64, 59, 55]);
  assert.deepEqual(moves.map(({ from, to, by }) => [from.fret, to.fret, by]), [[5, 6, 1], [8, 9, 1]]);
});

test("settings come back as they were kept, and nonsense does not", () => {
  const data = { ...tune(), neck: null };
  /** @type {Map<string, string>} */
  const kept = new Map();
  const storage = {
    getItem: (/** @type {string} */ name) => kept.get(name) ?? null,
    setItem: (/** @type {string} */ name, /** @type {string} */ text) => kept.set(name, text),
  };
  const settings = remembered(data, storage);
  settings.routine.tempo = 99;
  settings.mix.on.bass = false;
  remember(data, settings, storage);
  assert.deepEqual(remembered(data, storage), settings);
  const name = "practice page: Four four";
  kept.set(name, '{"routine": {"tempo": "fast", "bars": [99], "keys": "C", "climb": {"from": 3}}}');
  const mended = remembered(data, storage);
  assert.deepEqual([mended.routine.tempo, mended.routine.bars, mended.routine.keys, mended.routine.climb], [120, [0, 1, 2, 3], [0], null]);
  kept.set(name, "{{{");
  assert.equal(remembered(data, storage).routine.tempo, 120);
  // a file that says something else opens as it says
  assert.equal(remembered({ ...data, id: "other", session: { tempo: "90" } }, storage).routine.tempo, 90);
});
