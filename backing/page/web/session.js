// What is practiced, in the words of the command line: a session goes into a link and comes back.

import { climbOf, climbWords, temposOf } from "./climb.js";
import { SUBDIVISIONS, lineWords } from "./line.js";
import { FASTEST, SLOWEST, chorusOf } from "./rounds.js";

/**
 * @typedef {import("./types.js").PageData} PageData
 * @typedef {import("./types.js").Routine} Routine
 * @typedef {Record<string, string>} Words  By the name of the option.
 */

export const CYCLES = /** @type {Record<string, number>} */ ({ fourths: 5, fifths: 7, "half-steps": 1 });
const LETTERS = /** @type {Record<string, number>} */ ({ C: 0, D: 2, E: 4, F: 5, G: 7, A: 9, B: 11 });
const DRILL = /lead-in (\d+)|rest bars?(?: (\d+))?|grow|lay out (\d+)|same|[^\s,]+/g;
const COUNT = /^\d+$/;
/** The rhythm of a line of which none is said. */
const EIGHTHS = "eighths";

/**
 * Only what differs from how the file opens without words.
 * @param {PageData} data
 * @param {Routine} routine
 * @returns {Words}
 */
export function wordsOf(data, routine) {
  const { bars, keys, whole, choruses, ending, countIn, line } = routine;
  const home = keys.length === 1 && data.keys[keys[0]].semitones === 0;
  const said = {
    choruses: whole ? String(choruses) : "",
    ending: whole && ending !== "held" ? ending : "",
    bars: whole || isChorus(data, bars) ? "" : barWords(data, bars),
    ...tempoWords(data, routine),
    key: home ? "" : keyWords(data, keys),
    trade: tradeWords(routine),
    drill: drillWords(routine),
    "count-in": countIn ? "" : "0",
    line: line ? [data.line.besides, line === EIGHTHS ? "" : line].filter(Boolean).join(" ") : "",
  };
  return Object.fromEntries(Object.entries(said).filter(([, text]) => text));
}

/** @param {PageData} data @param {Routine} routine */
function tempoWords(data, { climb, tempo, times, keys, grow, whole, line }) {
  const alone = climb === null && keys.length === 1 && !grow && line !== SUBDIVISIONS;
  const own = climb || Math.abs(tempo - data.tempo) < 0.01;
  return {
    tempo: own ? "" : String(Math.round(tempo)), climb: climb ? climbWords(climb) : "", times: alone || whole ? "" : String(times),
  };
}

/** @param {Routine} routine */
function tradeWords({ trade, partner, partnerFirst }) {
  if (trade <= 0) return "";
  return [trade, partner === "line" && "with line", partnerFirst && `${partner} first`].filter(Boolean).join(" ");
}

/**
 * What words change in a routine, and what in them is not understood.
 * @param {PageData} data
 * @param {Words} words
 * @returns {{routine: Partial<Routine>, refused: string[]}}
 */
export function readWords(data, words) {
  /** @type {Partial<Routine>} */
  const routine = {};
  /** @type {string[]} */
  const refused = [];
  for (const [name, text] of Object.entries(words)) {
    const found = READERS[name]?.(text, data) ?? null;
    if (found) Object.assign(routine, found);
    else refused.push(`--${name} ${text}`);
  }
  return { routine, refused };
}

/** @type {Record<string, (text: string, data: PageData) => Partial<Routine> | null>} */
const READERS = {
  choruses: (text, { form }) => (form && COUNT.test(text) && Number(text) > 1 ? { whole: true, choruses: Number(text) } : null),
  ending: (text, { form }) => (form && text in form.out ? { whole: true, ending: text } : null),
  bars(text, data) {
    const bars = barsOf(data, text);
    return bars && { bars };
  },
  tempo(text, data) {
    const match = /^(\d+(?:\.\d+)?)(%?)$/.exec(text);
    const tempo = match ? Number(match[1]) * (match[2] ? data.tempo / 100 : 1) : 0;
    return tempo >= SLOWEST && tempo <= FASTEST ? { tempo } : null;
  },
  climb(text, data) {
    const climb = climbOf(text, data.tempo);
    return climb && temposOf(climb, data.tempo).length > 0 ? { climb } : null;
  },
  times: (text) => (COUNT.test(text) && Number(text) > 0 ? { times: Number(text) } : null),
  key(text, data) {
    const keys = keysOf(data, text);
    return keys && { keys };
  },
  trade(text) {
    const match = /^(\d+)( with line)?(?: (drums|line) first)?$/.exec(text.trim());
    if (!match || Number(match[1]) < 1) return null;
    const partner = match[2] || match[3] === "line" ? "line" : "drums";
    return { trade: Number(match[1]), partner, partnerFirst: Boolean(match[3]) };
  },
  drill(text) {
    /** @type {Partial<Routine>} */
    const drill = {};
    for (const [word, lead, rest, out] of text.matchAll(DRILL)) {
      if (lead) drill.leadIn = Number(lead);
      else if (word.startsWith("rest bar")) drill.restBars = Number(rest ?? 1);
      else if (out) drill.layOut = Number(out);
      else if (word === "grow") drill.grow = true;
      else if (word === "same") drill.same = true;
      else return null;
    }
    return drill;
  },
  "count-in": (text) => ({ countIn: text !== "0" }),
  line(text, data) {
    const besides = data.line.besides.split(" ");
    const words = text.toLowerCase().split(/[\s,]+/).filter((word) => word && word !== "etude");
    const own = words.filter((word) => {
      const at = besides.indexOf(word);
      if (at >= 0) besides.splice(at, 1);
      return at < 0;
    });
    const line = own.join(" ").replace(/^on /, "call on ").replace(/ on each in turn$/, "") || EIGHTHS;
    return lineWords(data).includes(line) ? { line } : null;
  },
};

/** @param {Routine} routine */
function drillWords({ leadIn, restBars, grow, layOut, same }) {
  const rest = restBars > 1 ? `rest bars ${restBars}` : "rest bar";
  return [
    leadIn > 0 && `lead-in ${leadIn}`, restBars > 0 && rest, grow && "grow", layOut > 0 && `lay out ${layOut}`, same && "same",
  ].filter(Boolean).join(", ");
}

/** @param {PageData} data @param {number[]} bars */
export function isChorus(data, bars) {
  return bars.length === data.chorus && bars[0] === 0;
}

/**
 * The sections of the solo chorus: what they are called, and their bars.
 * @param {PageData} data
 * @returns {{name: string, bars: number[]}[]}
 */
export function sectionsOf(data) {
  /** @type {{name: string, bars: number[]}[]} */
  const found = [];
  for (const bar of chorusOf(data)) {
    if (data.bars[bar].top || found.length === 0) found.push({ name: data.bars[bar].section, bars: [] });
    found[found.length - 1].bars.push(bar);
  }
  return found;
}

/**
 * Bars as a player names them: a section, or their numbers.
 * @param {PageData} data
 * @param {number[]} bars
 */
export function barWords(data, bars) {
  const sections = sectionsOf(data);
  const section = sections.find((each) => each.bars.join() === bars.join());
  if (section && sections.find(({ name }) => name === section.name) === section) return section.name;
  const [first, last] = [bars[0], bars[bars.length - 1]].map((bar) => data.bars[bar].label);
  return first === last ? first : `${first}-${last}`;
}

/**
 * The bars of a name: "13-16", "31-2", "B", "B:5-8", "A B"; null where there are none. Of a section that is
 * used several times the use counts that stands beside the run it is joined with, else the first.
 * @param {PageData} data
 * @param {string} text
 * @returns {number[] | null}
 */
export function barsOf(data, text) {
  const pieces = text.trim().replace(/\s*([-–:])\s*/g, "$1").split(/[\s,]+/);
  const [first, ...others] = pieces.map((piece) => runsOf(data, piece));
  const near = (/** @type {number[]} */ one, /** @type {number[]} */ next) => {
    const last = one[one.length - 1];
    return last + 1 === next[0] ? 2 : Number(last === data.chorus - 1 && next[0] === 0);
  };
  const nearness = (/** @type {number[][]} */ way) =>
    way.slice(1).reduce((sum, run, at) => sum + near(way[at], run), 0);
  const nearest = (/** @type {number[][][]} */ ways) =>
    ways.reduce((best, way) => (nearness(way) > nearness(best) ? way : best), ways[0] ?? []);
  let ways = first.map((run) => [run]);
  for (const runs of others) ways = runs.map((run) => nearest(ways.map((way) => [...way, run])));
  return ways.length > 0 && others.every((runs) => runs.length > 0) ? nearest(ways).flat() : null;
}

/**
 * The runs of bars that one name may mean.
 * @param {PageData} data
 * @param {string} piece
 * @returns {number[][]}
 */
function runsOf(data, piece) {
  const match = /^(?:([^\W\d][\w']*)(?::(?=\d)|$))?(?:(\d+)(?:[-–](\d+))?)?$/u.exec(piece);
  if (!match || !piece) return [];
  const [, place, first, last = first] = match;
  if (!place) return within(chorusOf(data), Number(first) - 1, Number(last) - 1, true);
  const sections = sectionsOf(data);
  const exact = sections.filter(({ name }) => name === place);
  const found = exact.length > 0 ? exact : sections.filter(({ name }) => name.toLowerCase() === place.toLowerCase());
  return found.flatMap(({ bars }) => (first ? within(bars, Number(first) - 1, Number(last) - 1, false) : [bars]));
}

/**
 * Bars from one to another, over the end into the top where they may; none where they are not there.
 * @param {number[]} bars @param {number} from @param {number} to @param {boolean} over
 */
function within(bars, from, to, over) {
  const count = (to >= from ? to : bars.length + to) - from + 1;
  const there = from in bars && (over ? to >= 0 : to in bars && to >= from) && count <= bars.length;
  return there ? [Array.from({ length: count }, (_, at) => bars[(from + at) % bars.length])] : [];
}

/**
 * @param {PageData} data
 * @param {number[]} keys
 */
function keyWords(data, keys) {
  const [first] = keys;
  const cycle = cycleOf(data, keys);
  if (!cycle) return keys.map((key) => plainName(data, key)).join(" ");
  return data.keys[first].semitones === 0 ? cycle : `${cycle} from ${plainName(data, first)}`;
}

/**
 * The name of the cycle in which keys follow; "" where they follow in none.
 * @param {PageData} data
 * @param {number[]} keys
 */
export function cycleOf(data, keys) {
  return Object.keys(CYCLES).find((name) => keys.length > 1 && cycled(data, keys[0], name).join() === keys.join()) ?? "";
}

/**
 * Twelve keys from one on.
 * @param {PageData} data
 * @param {number} first
 * @param {string} cycle
 */
export function cycled(data, first, cycle) {
  return data.keys.map((_, at) => (first + at * CYCLES[cycle]) % data.keys.length);
}

/**
 * Keys of a name: "Bb", "C F Bb", "fourths", "half-steps from Bb"; null where there are none.
 * @param {PageData} data
 * @param {string} text
 * @returns {number[] | null}
 */
function keysOf(data, text) {
  const words = text.trim().split(/[\s,]+/);
  const home = data.keys.findIndex(({ semitones }) => semitones === 0);
  if (words[0] in CYCLES) {
    const from = words[1] === "from" ? keyOf(data, words[2] ?? "") : home;
    return from < 0 || words.length === 2 ? null : cycled(data, from, words[0]);
  }
  const keys = words.filter((word) => !/^(major|minor)$/.test(word)).map((word) => keyOf(data, word));
  return keys.some((key) => key < 0) ? null : keys;
}

/** @param {PageData} data @param {string} name */
function keyOf(data, name) {
  const pitch = pitchOf(name);
  return data.keys.findIndex((key) => pitchOf(key.name.split(" ")[0]) === pitch);
}

/** @param {string} name */
function pitchOf(name) {
  const sharps = name.match(/[#♯]/g)?.length ?? 0;
  const flats = name.slice(1).match(/[b♭]/g)?.length ?? 0;
  return (LETTERS[name[0]?.toUpperCase()] + sharps - flats + 12) % 12;
}

/** @param {PageData} data @param {number} key */
function plainName(data, key) {
  return data.keys[key].name.split(" ")[0].replace(/♭/g, "b").replace(/♯/g, "#");
}
