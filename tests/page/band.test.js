import assert from "node:assert/strict";
import { test } from "node:test";

import { notesOf } from "../../backing/page/web/band.js";
import { tune } from "./tune.js";

const data = tune();

/** @returns {any} */
const turn = (bar, more = {}) => ({
  kind: "play", bar, counted: 0, beats: 4, take: 0, step: 0, tempo: 120, tempos: [120], key: 0, resting: new Set(), ...more,
});

/** @param {any[]} notes @param {string} part */
const of = (notes, part) =>
  notes.filter((note) => note.part === part).map(({ onset, pitch }) => [onset, pitch]).sort((a, b) => a[0] - b[0]);

test("inside the chorus the band plays what it has written", () => {
  const notes = notesOf(data, turn(0), turn(1));
  assert.deepEqual(of(notes, "bass"), [[0, 40], [1, 41], [2, 42], [3, 43]]);
  // the piano's anticipation of bar two sounds at the end of bar one
  assert.deepEqual(of(notes, "comp"), [[0, 60], [3.5, 60], [3.5, 62]]);
});

test("where a loop turns back the bass steps to its first note", () => {
  const notes = of(notesOf(data, turn(1), turn(0)), "bass");
  // from above: 43 44 45, then a half step above the 40 that follows
  assert.deepEqual(notes, [[0, 43], [1, 44], [2, 45], [3, 41]]);
});

test("a push on the first bar of a loop sounds at the end of the round, and one beyond it does not", () => {
  const round = of(notesOf(data, turn(3), turn(2)), "comp");
  assert.deepEqual(round, [[0, 65], [3.5, 64]]); // the piano gives way to it
  const out = of(notesOf(data, turn(1), turn(0)), "comp");
  assert.deepEqual(out, [[0, 62], [3.5, 62]]);
});

test("a count knows the push of the whole band, and no anticipation of the piano's", () => {
  const count = turn(2, { kind: "count", counted: 1 });
  assert.deepEqual(of(notesOf(data, count, turn(2)), "comp"), [[3.5, 64]]);
  const other = turn(1, { kind: "count", counted: 1 });
  assert.deepEqual(of(notesOf(data, other, turn(1)), "comp"), []);
});

test("in a rest bar there is the hi-hat foot alone", () => {
  const notes = notesOf(data, turn(0, { kind: "rest" }), turn(0));
  assert.deepEqual(notes.map(({ pitch }) => pitch), [44]);
});

test("who rests is silent, but for strokes of the whole band", () => {
  const soloists = turn(1, { resting: new Set(["bass", "comp"]) });
  const notes = notesOf(data, soloists, turn(2));
  assert.deepEqual(of(notes, "bass"), []);
  assert.deepEqual(of(notes, "comp"), [[3.5, 64]]);
  const alone = notesOf(data, turn(1, { resting: new Set(["bass", "comp", "kit"]) }), turn(0));
  assert.deepEqual(of(alone, "drums"), [[1, 44], [3, 44]]);
});

test("another key moves what has a pitch and leaves the drums", () => {
  const notes = notesOf(data, turn(0, { key: 1 }), turn(1, { key: 1 }));
  assert.equal(of(notes, "bass")[0][1], 42);
  assert.equal(of(notes, "drums")[0][1], 51);
});

test("where the key walks on the bass leads to the new one", () => {
  const last = of(notesOf(data, turn(3), turn(0, { key: 2 })), "bass")[3];
  assert.deepEqual(last, [3, 44]); // 45 is the first note of bar one in the new key
});
