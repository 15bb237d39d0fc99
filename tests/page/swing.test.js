import assert from "node:assert/strict";
import { test } from "node:test";

import { rideRatio, swingPlace, swingRatio } from "../../backing/page/web/swing.js";

const TABLE = { points: [[60, 2.2], [100, 2.6], [200, 1.8]], shortest_ms: 80, spare_ms: 0, soloist: [2, 0], latest_ms: 50 };

test("between points the ratio is linear, outside it is that of the nearest", () => {
  assert.equal(rideRatio(60, TABLE), 2.2);
  assert.ok(Math.abs(rideRatio(80, TABLE) - 2.4) < 1e-12);
  assert.equal(rideRatio(30, TABLE), 2.2);
  assert.equal(rideRatio(300, TABLE), 1.8);
});

test("the short note is never shorter than the shortest heard", () => {
  const tempo = 195;
  const ratio = rideRatio(tempo, TABLE);
  assert.ok(60000 / tempo / (ratio + 1) >= 80 - 1e-9);
});

test("a feel's own ratio does not depend on the tempo", () => {
  assert.equal(swingRatio(1, 180, TABLE), 1);
  assert.equal(swingRatio(2, 60, TABLE), 2);
});

test("beats stay where they are and the off-beat goes to its place", () => {
  assert.equal(swingPlace(3, 2), 3);
  assert.ok(Math.abs(swingPlace(3.5, 2) - (3 + 2 / 3)) < 1e-12);
  assert.equal(swingPlace(1.25, 1), 1.25);
  assert.ok(Math.abs(swingPlace(-0.5, 2) + 1 / 3) < 1e-12);
});
