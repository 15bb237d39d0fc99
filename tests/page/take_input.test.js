// What a take comes from: sound that is looked at again and again, clicks, keys, another rate.

import assert from "node:assert/strict";
import { test } from "node:test";

import { Resampler } from "../../backing/page/web/take_rate.js";
import { heardKeys } from "../../backing/page/web/take_input.js";
import { latencyOf } from "../../backing/page/web/take_latency.js";
import { keepTakes, keptTakes } from "../../backing/page/web/take_log.js";
import { freshOf } from "../../backing/page/web/take_tap.js";

/** Numbers from 0 up to 1 that are the same every time (Park and Miller 1988). @param {number} seed */
function dice(seed) {
  let last = seed;
  return () => (last = (last * 16807) % 2147483647) / 2147483647;
}

/** @param {number} length */
function noise(length) {
  const roll = dice(7);
  return Float32Array.from({ length }, () => roll() - 0.5);
}

test("samples are new once, wherever the clock thinks they are", () => {
  const sound = noise(60000);
  const size = 32768;
  const roll = dice(3);
  let seen = size;
  let end = size;
  let tail = sound.slice(size - 256, size);
  while (end < 59000) {
    end = Math.min(60000, end + 1 + Math.floor(roll() * 3000));
    const guess = Math.max(1, end - seen + Math.floor((roll() - 0.5) * 2000));
    const window = sound.slice(end - size, end);
    seen += freshOf(window, tail, guess);
    assert.equal(seen, end);
    tail = window.slice(-256);
  }
});

test("where all is still, the clock says how much is new", () => {
  assert.equal(freshOf(new Float32Array(32768), new Float32Array(256), 1900), 1900);
  assert.equal(freshOf(noise(32768), new Float32Array(0), 480), 480);
});

test("samples that were missed are as many as the clock says", () => {
  assert.equal(freshOf(noise(32768), noise(300).slice(44).map((value) => value + 1), 50000), 50000);
});

for (const rate of [8000, 22050, 44100, 48000, 96000, 192000]) {
  test(`a tone at ${rate} Hz comes out at 16 kHz as it was, in pieces of any size`, () => {
    const tone = Float32Array.from({ length: rate }, (_, at) => Math.sin((2 * Math.PI * 440 * at) / rate));
    const whole = new Resampler(rate, 16000).add(tone);
    const pieces = new Resampler(rate, 16000);
    const roll = dice(5);
    const parts = [];
    for (let at = 0; at < rate; ) {
      const size = 1 + Math.floor(roll() * 900);
      parts.push(...pieces.add(tone.subarray(at, at + size)));
      at += size;
    }
    assert.deepEqual(parts, [...whole]);
    const off = Math.max(...whole.slice(200).map((value, at) => Math.abs(value - Math.sin((2 * Math.PI * 440 * (at + 200)) / 16000))));
    assert.ok(off < 0.01, `${off}`);
  });
}

test("what is above half the rate is taken out", () => {
  const high = Float32Array.from({ length: 48000 }, (_, at) => Math.sin((2 * Math.PI * 11000 * at) / 48000));
  const most = Math.max(...new Resampler(48000, 16000).add(high).slice(200).map(Math.abs));
  assert.ok(most < 0.01, `${most}`);
});

/** dB every 4 ms from 10 s on, with strokes at these times. @param {number[]} strokes @param {number} quiet */
function loudWith(strokes, quiet = -60) {
  const roll = dice(11);
  return Array.from({ length: 2000 }, (_, at) => {
    const seconds = 10 + at * 0.004;
    const since = Math.min(...strokes.map((stroke) => (seconds >= stroke ? seconds - stroke : Infinity)));
    return Math.max(quiet + 3 * roll(), -20 - 400 * since);
  });
}

const clicks = Array.from({ length: 8 }, (_, at) => 11 + at * 0.6);

test("clicks that are heard tell the latency", () => {
  for (const late of [0.003, 0.087, 0.31]) {
    const found = latencyOf(clicks, loudWith(clicks.map((click) => click + late)), 10);
    assert.equal(found?.how, "clicks");
    assert.ok(Math.abs((found?.seconds ?? 0) - late) <= 0.006, `${late}: ${found?.seconds}`);
  }
});

test("so does somebody who plays along, and two clicks may be missed", () => {
  const roll = dice(2);
  const played = clicks.slice(1, 7).map((click) => click + 0.12 + (roll() - 0.5) * 0.05);
  const found = latencyOf(clicks, loudWith(played, -50), 10);
  assert.equal(found?.how, "tapping");
  assert.ok(Math.abs((found?.seconds ?? 0) - 0.12) < 0.02, `${found?.seconds}`);
});

test("noise, silence and strokes at random tell nothing", () => {
  const roll = dice(9);
  assert.equal(latencyOf(clicks, loudWith([]), 10), null);
  assert.equal(latencyOf(clicks, [], 10), null);
  assert.equal(latencyOf(clicks, loudWith(clicks.map((click) => click + roll() * 0.55)), 10), null);
});

/** @param {[onset: number, pitch: number][]} keys */
const struck = (keys) => keys.map(([onset, pitch]) => ({ onset, end: onset + 0.2, pitch, level: 80, sure: 1, cents: 0 }));

test("of keys struck together the highest is heard", () => {
  const single = Array.from({ length: 12 }, (_, at) => /** @type {[number, number]} */ ([at * 0.25, 60 + at]));
  const heard = heardKeys(struck([...single, [0.01, 48]]));
  assert.equal(heard.refusal, "");
  assert.deepEqual(heard.notes.map(({ pitch }) => pitch), single.map(([, pitch]) => pitch));
});

test("chords are no line", () => {
  const chords = [0, 1, 2, 3].flatMap((at) => [60, 64, 67].map((pitch) => /** @type {[number, number]} */ ([at, pitch])));
  assert.match(heardKeys(struck(chords)).refusal, /one note at a time/);
});

test("a log that can't be kept is said, and one that is scrambled is none", () => {
  const full = { getItem: () => "{", setItem: () => { throw new Error("full"); } };
  assert.deepEqual(keptTakes(full), []);
  assert.equal(keepTakes(full, []), false);
  assert.equal(keepTakes(null, []), false);
});
