import assert from "node:assert/strict";
import { test } from "node:test";

import { Clock } from "../../backing/page/web/clock.js";

/** @param {number} a @param {number} b */
const near = (a, b) => assert.ok(Math.abs(a - b) < 1e-9, `${a} is not ${b}`);

test("beats become seconds and come back", () => {
  const clock = new Clock();
  clock.set(0, 10, 120);
  near(clock.time(8), 14);
  near(clock.beat(14), 8);
});

test("another tempo holds from its beat on", () => {
  const clock = new Clock();
  clock.set(0, 0, 60);
  clock.set(4, 4, 240);
  near(clock.time(3), 3);
  near(clock.time(8), 5);
  near(clock.beat(5), 8);
  assert.equal(clock.bpm(3), 60);
  assert.equal(clock.bpm(4), 240);
});

test("what was said of later beats is void when the tempo changes before them", () => {
  const clock = new Clock();
  clock.set(0, 0, 60);
  clock.set(8, 8, 120);
  clock.set(4, 4, 60);
  near(clock.time(12), 12);
});

test("forgetting the past does not move the present", () => {
  const clock = new Clock();
  for (let beat = 0; beat < 1000; beat += 10) clock.set(beat, beat, 60);
  clock.forget(995);
  assert.equal(clock.stretches.length, 1);
  near(clock.time(995), 995);
});
