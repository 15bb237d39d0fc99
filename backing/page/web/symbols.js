// Chord symbols as they are set, and as they are said aloud.

/** @typedef {[root: string, suffix: string, bass: string]} Symbol */

/**
 * @param {string} name
 * @param {string} className
 * @param {string} text
 */
function span(name, className, text) {
  const element = document.createElement(name);
  element.className = className;
  element.textContent = text;
  return element;
}

/**
 * Accidentals of a suffix as signs: m7b5 becomes m7♭5.
 * @param {string} suffix
 */
export function signs(suffix) {
  return suffix.replace(/b(?=\d)/g, "♭").replace(/#(?=\d)/g, "♯");
}

/**
 * A degree with signs: bb7 becomes ♭♭7.
 * @param {string} degree
 */
export function degreeSigns(degree) {
  return degree.replace(/b/g, "♭").replace(/#/g, "♯");
}

/**
 * Put a chord symbol into an element; null is no chord.
 * @param {Element} element
 * @param {Symbol | null} symbol
 */
export function setSymbol(element, symbol) {
  if (!symbol) {
    element.replaceChildren("N.C.");
    element.classList.remove("long");
    return;
  }
  const [root, suffix, bass] = symbol;
  const pieces = [span("span", "root", root), span("span", "suffix", signs(suffix))];
  if (bass) pieces.push(span("span", "slash", `/${bass}`));
  element.replaceChildren(...pieces);
  element.classList.toggle("long", suffix.length + bass.length > 5);
}

const WORDS = /** @type {[RegExp, string][]} */ ([
  [/dim|º|°/g, " diminished "],
  [/ø/g, " half diminished "],
  [/aug|\+(?=\d|$)/g, " augmented "],
  [/sus/g, " suspended "],
  [/alt/g, " altered "],
  [/add/g, " add "],
  [/maj|ma(?=\d)|Δ|△|M(?=\d|$)/g, " major "],
  [/min|mi(?=\d)|m|-(?=\d|$)/g, " minor "],
  [/b(?=\d)|♭/g, " flat "],
  [/#(?=\d)|♯/g, " sharp "],
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
