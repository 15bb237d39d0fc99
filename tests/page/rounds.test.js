import assert from "node:assert/strict";
import { test } from "node:test";

import { Rounds, turnOf } from "../../backing/page/web/rounds.js";
import { routine, run, tune } from "./tune.js";

/** @param {object} wanted @param {number} count @param {number} bar @param {boolean} counted */
function turns(wanted, count, bar = 0, counted = false) {
  const rounds = new Rounds(tune(), routine(wanted));
  rounds.start(bar, counted);
  return Array.from({ length: count }, () => rounds.next());
}

test("a loop goes round, another take each time", () => {
  const played = turns({ bars: [1, 2] }, 5, 1);
  assert.deepEqual(played.map(({ bar, take }) => [bar, take]), [[1, 0], [2, 0], [1, 1], [2, 1], [1, 2]]);
});

test("the same accompaniment on request", () => {
  assert.deepEqual(turns({ bars: [0], same: true }, 3).map(({ take }) => take), [0, 0, 0]);
});

test("count, lead-in, loop, rest bar", () => {
  const played = turns({ bars: [2, 3], countIn: true, leadIn: 1, restBars: 1 }, 8, 2, true);
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

test("each step of a climb has its times, and is counted in", () => {
  const climb = { from: 120, to: 135, step: 10, unit: "bpm", order: "up", home: false };
  const played = turns({ bars: [0], climb, times: 2 }, 8);
  assert.deepEqual(played.map(({ tempo }) => tempo), [120, 120, 130, 130, 135, 135, 135, 135]);
  assert.deepEqual(played.map(({ take }) => take), [0, 1, 0, 1, 0, 1, 2, 3]);
  const counted = turns({ bars: [0], climb, times: 1, countIn: true, leadIn: 1 }, 9, 0, true);
  assert.deepEqual(
    counted.map(({ kind, tempo }) => `${kind} ${tempo}`),
    ["count 120", "count 120", "lead 120", "play 120", "count 130", "count 130", "lead 130", "play 130", "count 135"],
  );
});

test("a climb that does not go up is not played", () => {
  const climb = { from: 120, to: 120, step: 8, unit: "bpm", order: "up", home: false };
  assert.deepEqual(turns({ bars: [0], climb, tempo: 99 }, 2).map(({ tempo }) => tempo), [99, 99]);
});

test("keys come in turn, round and round, each so often", () => {
  assert.deepEqual(turns({ bars: [0], keys: [0, 1, 2] }, 4).map(({ key }) => key), [0, 1, 2, 0]);
  assert.deepEqual(turns({ bars: [0], keys: [2, 0], times: 2 }, 5).map(({ key }) => key), [2, 2, 0, 0, 2]);
});

test("a loop grows backwards and stays whole", () => {
  assert.deepEqual(turns({ bars: [1, 2, 3], grow: true }, 12, 1).map(({ bar }) => bar), [3, 2, 3, 1, 2, 3, 1, 2, 3, 1, 2, 3]);
});

test("a loop goes over the top of the chorus", () => {
  assert.deepEqual(turns({ bars: [3, 0] }, 4, 3).map(({ bar }) => bar), [3, 0, 3, 0]);
});

test("from a bar outside the loop the tune goes on until it is there", () => {
  const played = turns({ bars: [2, 3] }, 5, 1);
  assert.deepEqual(played.map(({ kind, bar }) => `${kind} ${bar}`), ["lead 1", "play 2", "play 3", "play 2", "play 3"]);
  assert.deepEqual(turns({ bars: [1] }, 4, 3).map(({ bar }) => bar), [3, 0, 1, 1]);
});

test("the whole form is head, solos, last head, and then it is over", () => {
  const data = { ...tune(), chorus: 2, form: { head: [2], out: { held: [3] } } };
  const rounds = new Rounds(data, routine({ whole: true, bars: [0, 1], choruses: 4, trade: 1, partner: "line" }));
  rounds.start(2, false);
  const played = Array.from({ length: 8 }, () => rounds.next());
  assert.deepEqual(
    played.map(({ kind, bar, take, resting }) => `${kind} ${bar} ${take} ${resting.has("etude")}`),
    // the head and the last head are the player's own
    ["play 2 0 true", "play 0 0 true", "play 1 0 false", "play 0 1 true", "play 1 1 false", "play 3 0 true", "end 3 1 true", "end 3 1 true"],
  );
});

test("a trade with the line leaves the band playing", () => {
  const played = turns({ bars: run(0, 1), trade: 1, partner: "line" }, 4);
  assert.deepEqual(played.map(({ resting }) => [...resting].join()), ["etude", "", "etude", ""]);
});

test("the turn of a trade passes on from round to round", () => {
  const three = turns({ bars: [0, 1, 2], trade: 1 }, 6);
  assert.deepEqual(three.map(({ resting }) => resting.has("bass")), [false, true, false, true, false, true]);
  const short = turns({ bars: [0, 1], trade: 4 }, 8);
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
  const first = turns({ trade: 2, partnerFirst: true }, 4);
  assert.deepEqual(first.map(({ resting }) => resting.has("bass")), [true, true, false, false]);
  const alone = turns({ layOut: 1 }, 4);
  assert.deepEqual(alone.map(({ resting }) => resting.has("kit")), [false, false, false, true]);
});
