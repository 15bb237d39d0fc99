import assert from "node:assert/strict";
import { test } from "node:test";

import { Rounds, turnOf } from "../../backing/page/web/rounds.js";
import { routine, tune } from "./tune.js";

/** @param {object} wanted @param {number} count @param {number} bar @param {boolean} counted */
function turns(wanted, count, bar = 0, counted = false) {
  const rounds = new Rounds(tune(), routine(wanted));
  rounds.start(bar, counted);
  return Array.from({ length: count }, () => rounds.next());
}

test("a loop goes round, another take each time", () => {
  const played = turns({ from: 1, to: 2 }, 5, 1);
  assert.deepEqual(played.map(({ bar, take }) => [bar, take]), [[1, 0], [2, 0], [1, 1], [2, 1], [1, 2]]);
});

test("the same accompaniment on request", () => {
  assert.deepEqual(turns({ from: 0, to: 0, same: true }, 3).map(({ take }) => take), [0, 0, 0]);
});

test("count, lead-in, loop, rest bar", () => {
  const played = turns({ from: 2, to: 3, countIn: true, leadIn: 1, restBars: 1 }, 8, 2, true);
  assert.deepEqual(
    played.map(({ kind, bar }) => `${kind} ${bar}`),
    ["count 1", "count 1", "lead 1", "play 2", "play 3", "rest 2", "play 2", "play 3"],
  );
});

test("a slow count is one bar", () => {
  const played = turns({ tempo: 60, countIn: true }, 2, 0, true);
  assert.deepEqual(played.map(({ kind }) => kind), ["count", "play"]);
});

test("a lead-in before bar one comes from the end of the chorus", () => {
  assert.deepEqual(turns({ leadIn: 2 }, 3).map(({ kind, bar }) => [kind, bar]), [["lead", 2], ["lead", 3], ["play", 0]]);
});

test("a climb by bpm and by percent, up to its goal", () => {
  const bpm = turns({ from: 0, to: 0, climbStep: 10, climbTimes: 2, climbTo: 135 }, 7);
  assert.deepEqual(bpm.map(({ tempo }) => tempo), [120, 120, 130, 130, 135, 135, 135]);
  const percent = turns({ from: 0, to: 0, climbStep: 5, climbUnit: "percent", climbTo: 400 }, 3);
  assert.deepEqual(percent.map(({ tempo }) => tempo), [120, 126, 132]);
});

test("a climb whose goal is passed already does not slow down", () => {
  assert.deepEqual(turns({ from: 0, to: 0, climbStep: 5, climbTo: 100 }, 2).map(({ tempo }) => tempo), [120, 120]);
});

test("keys walk on each round", () => {
  assert.deepEqual(turns({ from: 0, to: 0, walk: "half-steps" }, 4).map(({ key }) => key), [0, 1, 2, 0]);
});

test("the turn of a trade passes on from round to round", () => {
  const three = turns({ from: 0, to: 2, trade: 1 }, 6);
  assert.deepEqual(three.map(({ resting }) => resting.has("bass")), [false, true, false, true, false, true]);
  const short = turns({ from: 0, to: 1, trade: 4 }, 8);
  assert.deepEqual(
    short.map(({ resting }) => resting.has("bass")),
    [false, false, false, false, true, true, true, true],
  );
  /** @param {number} bars @param {number} round */
  const fours = (bars, round) => Array.from({ length: bars }, (_, bar) => turnOf(bar, bars, 4, round));
  assert.deepEqual(fours(10, 1), [3, 3, 3, 3, 4, 4, 4, 4, 5, 5]);
  assert.deepEqual(fours(9, 0), [0, 0, 0, 0, 1, 1, 1, 1, 1]);
});

test("trading, and laying out at the end", () => {
  const traded = turns({ trade: 1 }, 4);
  assert.deepEqual(traded.map(({ resting }) => resting.has("bass")), [false, true, false, true]);
  const first = turns({ trade: 2, drumsFirst: true }, 4);
  assert.deepEqual(first.map(({ resting }) => resting.has("bass")), [true, true, false, false]);
  const alone = turns({ layOut: 1 }, 4);
  assert.deepEqual(alone.map(({ resting }) => resting.has("kit")), [false, false, false, true]);
});
