// Chord symbols as they are set, and as they are said aloud.

/** @typedef {[root: string, suffix: string, bass: string]} Symbol */

/**
 * Put a chord symbol into an element, its suffix raised; null is no chord.
 * @param {Element} element
 * @param {Symbol | null} symbol
 */
export function setSymbol(element, symbol) {
  if (!symbol) {
    element.replaceChildren("N.C.");
    return;
  }
  const [root, suffix, bass] = symbol;
  element.replaceChildren(root[0], ...piece("accidental", root.slice(1)), ...piece("suffix", suffix));
  if (bass) element.append(...piece("slash", "/"), bass[0], ...piece("accidental", bass.slice(1)));
}

/**
 * @param {string} name
 * @param {string} text
 */
function piece(name, text) {
  if (!text) return [];
  const element = document.createElement("span");
  element.className = name;
  element.textContent = text;
  return [element];
}

/**
 * Make an element's text smaller where it is wider than its room.
 * @param {HTMLElement} element
 * @param {number} room  In px.
 */
export function fit(element, room) {
  element.style.fontSize = "";
  const wide = element.offsetWidth;
  if (wide <= room) return;
  const size = parseFloat(getComputedStyle(element).fontSize);
  element.style.fontSize = `${((size * room) / wide).toFixed(1)}px`;
}

const WORDS = /** @type {[RegExp, string][]} */ ([
  [/dim|°/g, " diminished "],
  [/ø/g, " half diminished "],
  [/aug|\+(?=\d|$)/g, " augmented "],
  [/sus/g, " suspended "],
  [/alt/g, " altered "],
  [/add/g, " add "],
  [/maj|ma(?=\d)|△|M(?=\d|$)/g, " major "],
  [/min|mi(?=\d)|m|-(?=\d|$)/g, " minor "],
  [/𝄫/gu, " double flat "],
  [/♭/g, " flat "],
  [/♯/g, " sharp "],
]);

/**
 * A chord symbol in words, for a screen reader.
 * @param {Symbol | null} symbol
 */
export function spoken(symbol) {
  if (!symbol) return "no chord";
  const [root, suffix, bass] = symbol;
  // words first become marks, so that the m of "diminished" is not read again
  let text = suffix;
  WORDS.forEach(([pattern], at) => {
    text = text.replace(pattern, `\u0001${String.fromCharCode(0x100 + at)}`);
  });
  text = text.replace(/\u0001(.)/g, (_, mark) => WORDS[mark.charCodeAt(0) - 0x100][1]);
  const named = `${aloud(root)} ${text}${bass ? ` over ${aloud(bass)}` : ""}`;
  return named.replace(/\s+/g, " ").trim();
}

/** @param {string} name */
function aloud(name) {
  return name.replace(/♭/g, " flat").replace(/♯/g, " sharp");
}
