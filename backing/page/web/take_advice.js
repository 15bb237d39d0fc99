// What to work on next: three sentences, the gravest thing first, and the bars to loop.

import { crossed, unresolved } from "./take_account.js";
import { filled, fixed, percent, pitchClass } from "./take_figures.js";
import { spelled } from "./take_kinds.js";

/**
 * @typedef {import("./take_types.js").Account} Account
 * @typedef {import("./take_types.js").Advice} Advice
 * @typedef {import("./take_types.js").Departure} Departure
 * @typedef {import("./take_types.js").Fault} Fault
 * @typedef {import("./take_course.js").Course} Course
 * @typedef {[topic: string, sentence: string]} Fact
 */

/**
 * What to work on after a take.
 * @param {Course} course
 * @param {Account} told
 * @returns {Advice}
 */
export function advise(course, told) {
  const faults = [slipped, left, timed, stopped, along, answered, joined, shaped].flatMap((each) => each(course, told));
  faults.sort((a, b) => b.weight - a.weight);
  const gravest = faults.slice(0, 3);
  const topics = new Set(gravest.map(({ topic }) => topic));
  const facts = factsOf(course, told).filter(([topic]) => !topics.has(topic));
  const sentences = [...gravest.map(({ sentence }) => sentence), ...facts.map(([, sentence]) => sentence)];
  return { sentences: sentences.slice(0, 3), faults, loop: loopOf(course, faults) };
}

/** @param {Course} course @param {string} name @param {Record<string, string | number>} words */
function say(course, name, words) {
  return filled(course.table.sentences[name], words);
}

/** @param {number} count @param {string} one */
function many(count, one) {
  return `${count} ${one}${count === 1 ? "" : "s"}`;
}

/** Words in a row: "a, b and c". @param {string[]} words */
function listed(words) {
  return words.length < 2 ? words.join() : `${words.slice(0, -1).join(", ")} and ${words[words.length - 1]}`;
}

/** @param {Iterable<number>} bars */
function unique(bars) {
  return [...new Set(bars)];
}

/** @param {Course} course @param {Account} told @returns {Fault[]} */
function slipped(course, { slips }) {
  return slips.map(({ bars, by, swapped }) => {
    const [first, last] = [course.bars[bars[0]], course.bars[bars[bars.length - 1]]];
    const sentence = say(course, swapped ? "swapped" : "slipped", {
      first: first.label,
      last: last.label,
      where: first.where ? ` (${first.where})` : "",
      bars: many(Math.abs(by), "bar"),
      way: by > 0 ? "early" : "late",
    });
    return { topic: "place", sentence, bars, weight: 100 };
  });
}

/** Notes that left the chord and led nowhere, but for those of bars in the wrong place.
 * @param {Course} course @param {Account} told @returns {Fault[]} */
function left(course, told) {
  const known = new Set(told.slips.flatMap(({ bars }) => bars));
  const notes = unresolved(told).filter(({ bar }) => !known.has(bar));
  if (notes.length === 0) return [];
  const [first] = notes;
  const sentence = say(course, notes.length === 1 ? "one left" : "many left", {
    count: notes.length,
    note: first.name,
    beat: first.beat,
    bar: course.barName(first.bar),
    chord: first.chord,
    nearest: first.nearest,
  });
  const exercise = (told.tones ?? 0) >= course.table.bounds.advice.exercise;
  const weight = exercise ? 60 : (100 * notes.length) / Math.max(told.notes.length, 1);
  return [{ topic: "notes", sentence, bars: unique(notes.map(({ bar }) => bar)), weight }];
}

/** @param {Course} course @param {Account} told @returns {Fault[]} */
function timed(course, { timing: { shifts, drift, spread } }) {
  const { drift_ms: most } = course.table.bounds.timing;
  /** @type {Fault[]} */
  const found = [];
  if (shifts.length > 0) found.push(shifted(course, shifts));
  else if (drift !== null && Math.abs(drift) > most) {
    const way = drift > 0 ? "fall behind" : "get ahead";
    found.push({ topic: "time", sentence: say(course, "drift", { way, ms: fixed(Math.abs(drift)) }), bars: [], weight: 40 });
  }
  if (spread !== null && spread > course.table.bounds.advice.wide_ms) {
    found.push({ topic: "steadiness", sentence: say(course, "scatter", { ms: fixed(spread) }), bars: [], weight: 35 });
  }
  return found;
}

/** @param {Course} course @param {{bar: number, ms: number}[]} shifts @returns {Fault} */
function shifted(course, shifts) {
  const worst = shifts.reduce((most, each) => (Math.abs(each.ms) > Math.abs(most.ms) ? each : most));
  const name = course.barName(worst.bar);
  const others = shifts.filter((shift) => shift !== worst).map(({ bar }) => course.bars[bar].label);
  const sentence = say(course, others.length > 0 ? "shifts" : "shift", {
    bar: `${name[0].toUpperCase()}${name.slice(1)}${name.includes(",") ? "," : ""}`,
    ms: fixed(Math.abs(worst.ms)),
    way: worst.ms > 0 ? "behind" : "ahead of",
    others: others.slice(0, 4).join(", "),
  });
  return { topic: "time", sentence, bars: shifts.map(({ bar }) => bar), weight: 50 + Math.abs(worst.ms) / 10 };
}

/** @param {Course} course @param {Account} told */
function isExercise(course, told) {
  return course.unbroken || told.phrases.unbroken;
}

/** @param {Course} course @param {Account} told @returns {Fault[]} */
function stopped(course, told) {
  const { breaks } = told.phrases;
  if (!isExercise(course, told) || breaks.length === 0) return [];
  const [first] = breaks;
  const more = breaks.length - 1;
  const sentence = say(course, "stopped", {
    beat: course.counted(first.eighth, first.bar),
    bar: course.barName(first.bar),
    more: more > 0 ? `, and ${many(more, "time")} after that` : "",
  });
  return [{ topic: "run", sentence, bars: unique(breaks.map(({ bar }) => bar)), weight: 55 }];
}

/** @param {Course} course @param {Account} told @returns {Fault[]} */
function along(course, told) {
  const known = new Set(told.slips.flatMap(({ bars }) => bars));
  const gaps = new Set(isExercise(course, told) ? told.phrases.breaks.map(({ eighth }) => eighth) : []);
  const outside = new Set(unresolved(told).map(({ bar, beat }) => `${bar} ${beat}`));
  const away = (told.along?.departures ?? []).filter(
    ({ bar, eighth }) => !known.has(bar) && !gaps.has(eighth) && !outside.has(`${bar} ${course.counted(eighth, bar)}`),
  );
  if (away.length === 0) return [];
  const first = departs(course, away[0], away.length === 1 ? "On" : "on");
  const sentence = away.length > 1 ? say(course, "departures", { count: away.length, first }) : first;
  return [{ topic: "line", sentence, bars: unique(away.map(({ bar }) => bar)), weight: 45 }];
}

/** @param {Course} course @param {Departure} departure @param {string} on */
function departs(course, { bar, eighth, wanted, played }, on) {
  const at = course.chordAt(eighth / 2 + 0.01);
  const chord = at < 0 ? null : course.chords[at];
  const name = played === null ? "nothing" : spelled(chord, played);
  const octaves = played !== null && pitchClass(played - wanted) === 0;
  return say(course, "departs", {
    on,
    beat: course.counted(eighth, bar),
    bar: course.barName(bar),
    wanted: spelled(chord, wanted),
    played: octaves ? `the ${name} ${played > wanted ? "above" : "below"}` : name,
  });
}

/** @param {Course} course @param {Account} told @returns {Fault[]} */
function answered(course, { answers }) {
  const strokes = answers.reduce((sum, each) => sum + each.strokes, 0);
  const taken = answers.reduce((sum, each) => sum + each.takenUp, 0);
  if (taken >= strokes / 2) return [];
  const sentence = say(course, "answers", { taken, strokes });
  return [{ topic: "answers", sentence, bars: answers.map(({ bar }) => bar), weight: 30 }];
}

/** @param {Course} course @param {Account} told @returns {Fault[]} */
function joined(course, told) {
  const { few_steps: few, masters_step: masters } = course.table.bounds.advice;
  const played = told.crossings.length - crossed(told, "rest");
  const steps = crossed(told, "step") + crossed(told, "held");
  if (played < 12 || steps >= few * played || told.slips.length > 0) return [];
  const leaps = told.crossings.filter(({ way }) => way === "leap").map(({ bar }) => bar);
  const sentence = say(course, "leaps", { steps, played, masters: percent(masters) });
  return [{ topic: "changes", sentence, bars: unique(leaps), weight: 25 }];
}

/** @param {Course} course @param {Account} told @returns {Fault[]} */
function shaped(course, { degrees, along: line }) {
  const { fewest_tones: fewest, avoided, favored } = course.table.bounds.advice;
  const total = degrees.reduce((sum, count) => sum + count, 0);
  if (total < fewest || line !== null) return [];
  /** @param {string} name @param {number} count @param {number} weight @returns {Fault} */
  const fault = (name, count, weight) => {
    const role = course.table.roles[degrees.indexOf(count)];
    return { topic: "degrees", sentence: say(course, name, { role, count, total }), bars: [], weight };
  };
  const [least, most] = [Math.min(...degrees), Math.max(...degrees)];
  return [
    ...(least < avoided * total ? [fault("avoided", least, 20)] : []),
    ...(most > favored * total ? [fault("favored", most, 15)] : []),
  ];
}

/** What was heard, in the order in which it is worth saying.
 * @param {Course} course @param {Account} told @returns {Fact[]} */
function factsOf(course, told) {
  const { longest } = told.phrases;
  const played = told.crossings.length - crossed(told, "rest");
  const ways = course.table.ways.filter(([way]) => crossed(told, way) > 0).map(([way, words]) => `${crossed(told, way)} ${words}`);
  /** @type {(Fact | null)[]} */
  const facts = [
    notesFact(course, told),
    played > 0 ? ["changes", say(course, "changes", { played, ways: listed(ways) })] : null,
    timeFact(course, told),
    longest && longest.notes >= 8
      ? ["run", say(course, "run", { notes: longest.notes, bar: course.barName(told.notes[longest.first].placed.bar) })]
      : null,
    told.notes.length > 0 ? ["space", say(course, "space", { share: percent(told.phrases.space) })] : null,
  ];
  return facts.flatMap((fact) => (fact ? [fact] : []));
}

/** @param {Course} course @param {Account} told @returns {Fact | null} */
function notesFact(course, told) {
  const outside = unresolved(told).length;
  const leading = told.outside.length - outside;
  if (outside === 0 && told.notes.length > 0) {
    const lead = leading > 0 ? say(course, "lead", { count: leading }) : "";
    return ["notes", say(course, "all inside", { count: told.notes.length, lead })];
  }
  return told.tones === null ? null : ["notes", say(course, "tones", { share: percent(told.tones) })];
}

/** @param {Course} course @param {Account} told @returns {Fact | null} */
function timeFact(course, { timing: { spread, swing, bandSwing } }) {
  if (spread === null) return null;
  const swung = swing !== null && bandSwing > 1;
  const words = swung ? say(course, "swing", { mine: fixed(swing, 1), band: fixed(bandSwing, 1) }) : "";
  return ["time", say(course, "within", { ms: fixed(spread), swing: words })];
}

/** The bars of the gravest fault that has any, with the bar that leads into them.
 * @param {Course} course @param {Fault[]} faults */
function loopOf(course, faults) {
  const isNumber = (/** @type {number} */ at) => /^\d+$/.test(course.bars[at].label);
  for (const { bars } of faults) {
    if (bars.length === 0) continue;
    const numbers = [Math.max(bars[0] - 1, 0), bars[0]].filter(isNumber);
    if (numbers.length > 0) return unique(numbers);
  }
  return [];
}
