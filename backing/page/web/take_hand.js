// What lies under the hand in the position practiced, chord by chord.

import { dotsOf } from "./neck.js";

/**
 * @typedef {import("./types.js").PageData} PageData
 * @typedef {import("./spans.js").Spans} Spans
 */

/** Frets from a stretch below the position to one above it. */
const BELOW = 1;
const ABOVE = 4;

export class Hand {
  /**
   * @param {PageData} data
   * @param {Spans} spans
   * @param {number} position  Index into the positions of the neck; -1 for none.
   */
  constructor({ neck }, spans, position) {
    this.neck = neck;
    this.spans = spans;
    this.position = position;
  }

  /**
   * The MIDI pitches of a span's chord, and of all that the hand reaches where it is; none without a position.
   * @param {number} span
   * @param {number} key
   * @returns {{shape?: number[], reach?: number[]}}
   */
  under(span, key) {
    const { neck, position } = this;
    const place = neck?.positions[position];
    const chord = this.spans.numbers[span];
    if (!neck || place === undefined || chord < 0) return {};
    const dots = dotsOf(neck.shapes[neck.paths[key][position][neck.order[chord]]]);
    const tones = dots.filter(({ light }) => !light);
    const frets = tones.map(({ fret }) => fret).filter((fret) => fret > 0);
    const hand = nearest(place, frets, neck.positions);
    return {
      shape: [...new Set(tones.map(({ string, fret }) => neck.strings[string - 1] + fret))],
      reach: neck.strings.flatMap((open) => reached(hand, neck.frets).map((fret) => open + fret)),
    };
  }
}

/** The position nearest to a place in which the hand has these frets.
 * @param {number} place @param {number[]} frets @param {number[]} positions */
function nearest(place, frets, positions) {
  const has = (/** @type {number} */ hand) => frets.every((fret) => fret >= hand - BELOW && fret <= hand + ABOVE);
  const near = [...positions].sort((a, b) => Math.abs(a - place) - Math.abs(b - place));
  return near.find(has) ?? place;
}

/** @param {number} hand @param {number} frets */
function reached(hand, frets) {
  const found = [];
  for (let fret = hand - BELOW; fret <= Math.min(hand + ABOVE, frets); fret += 1) found.push(fret);
  return found;
}
