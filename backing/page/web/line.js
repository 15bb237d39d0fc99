// The line that plays: its notes, and what it is called. Besides the one the page opens with there are calls on each
// of their starts, and subdivisions.

/**
 * @typedef {import("./types.js").PageData} PageData
 * @typedef {import("./types.js").NoteRow} NoteRow
 * @typedef {import("./types.js").Struck} Struck
 */

/** What stands for lines that follow each other: one note value after another, and calls on each start in turn. */
export const SUBDIVISIONS = "subdivisions";
export const CALL = "call";
/** Digits of strings, frets and numbers. */
export const SIGNS = "0123456789abcdefghijklmnopqrstuvwxyz";
/** Signs of a note: its stroke, and then its place. */
const [STROKE, NOTE] = [2, 5];

/**
 * The lines to choose from, in the words that ask for them; the one the page opens with comes first.
 * @param {PageData} data
 */
export function lineWords({ line }) {
  const calls = line.calls.map((at) => line.lines[at].words);
  const many = [...(line.subdivisions.length > 1 ? [SUBDIVISIONS] : []), ...(calls.length > 1 ? [CALL] : []), ...calls];
  return [...new Set([line.opens, ...many])];
}

/** What a line is called. @param {string} words */
export function lineName(words) {
  if (words === CALL) return "a call on each beat in turn";
  return words.startsWith(CALL) ? `a ${words}` : `an etude in ${words}`;
}

/**
 * The number of the line that plays where one is asked for by words; of several, the first.
 * @param {PageData} data
 * @param {string} words
 */
export function lineAt({ line }, words) {
  const { lines, subdivisions, calls } = line;
  if (words === SUBDIVISIONS && subdivisions.length > 0) return subdivisions[0];
  if (words === CALL && calls.length > 0) return calls[0];
  return Math.max(0, lines.findIndex((each) => each.words === words));
}

/**
 * The notes of a line in a bar, and where each lies: string, fret and finger.
 * @param {PageData} data
 * @param {number} number
 * @param {number} take
 * @param {number} bar
 * @returns {{row: NoteRow, place: string}[]}
 */
export function lineNotes({ line, neck }, number, take, bar) {
  const { takes } = line.lines[number];
  // the head and the last head are played one way
  const text = takes[take % takes.length][bar] ?? takes[0][bar] ?? "";
  return Array.from({ length: text.length / NOTE }, (_, at) => {
    const signs = text.slice(NOTE * at, NOTE * at + NOTE);
    const place = signs.slice(STROKE);
    const [onset, length, ...rest] = line.strokes[parseInt(signs.slice(0, STROKE), SIGNS.length)];
    const pitch = (neck?.strings[Number(place[0]) - 1] ?? 0) + SIGNS.indexOf(place[1]);
    return { row: /** @type {NoteRow} */ ([onset, length, pitch, ...rest]), place };
  });
}

/**
 * Whether a call sounds in a bar, on whichever start.
 * @param {PageData} data
 * @param {number} bar
 */
export function called({ line }, bar) {
  return line.calls.some((at) => line.lines[at].takes.some((take) => take[bar]));
}
