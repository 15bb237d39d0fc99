// Where an off-beat falls: the same function of tempo as in the tracks.

/** @typedef {import("./types.js").SwingTable} SwingTable */

/**
 * The ride's long : short ratio at a tempo in bpm, linear between published points, and never so
 * large that the short note falls below the shortest heard.
 * @param {number} tempo
 * @param {SwingTable} table
 */
export function rideRatio(tempo, table) {
  const { points, shortest_ms: shortest } = table;
  const next = points.findIndex(([at]) => at > tempo);
  if (next === 0) return points[0][1];
  if (next < 0) return points[points.length - 1][1];
  const [t0, r0] = points[next - 1];
  const [t1, r1] = points[next];
  const ratio = r0 + ((r1 - r0) * (tempo - t0)) / (t1 - t0);
  return Math.max(1, Math.min(ratio, 60000 / tempo / shortest - 1));
}

/**
 * The ratio of a bar, in hundredths: the ride's, or its feel's own.
 * @param {"ride" | number} swing
 * @param {number} tempo
 * @param {SwingTable} table
 * @param {number} wander  The factor by which the ride has wandered there.
 */
export function swingRatio(swing, tempo, table, wander = 1) {
  if (swing !== "ride") return swing;
  const ratio = rideRatio(tempo, table);
  const most = Math.max(ratio, 60000 / tempo / (table.shortest_ms + table.spare_ms) - 1);
  return rounded(Math.max(1, Math.min(ratio * wander, most)) * 100) / 100;
}

/**
 * Where a written beat is played: the off-beat goes to ratio / (ratio + 1) of its beat.
 * @param {number} beat
 * @param {number} ratio
 */
export function swingPlace(beat, ratio) {
  const whole = Math.floor(beat);
  const part = beat - whole;
  const off = ratio / (ratio + 1);
  return part <= 0.5 ? whole + part * 2 * off : whole + off + (part - 0.5) * 2 * (1 - off);
}

/**
 * By how many ms a melodic line is late on the beat: so much that its own ratio is a soloist's while
 * its off-beats stay with the ride.
 * @param {number} tempo
 * @param {number} ratio  The ride's.
 * @param {SwingTable} table
 */
export function melodicLateness(tempo, ratio, table) {
  const [start, slope] = table.soloist;
  const soloist = Math.max(1, start + slope * tempo);
  const beat = 60000 / tempo;
  const offBeat = (beat * ratio) / (ratio + 1);
  const late = (offBeat - soloist * (beat - offBeat)) / (soloist + 1);
  return rounded(2 * Math.max(0, Math.min(table.latest_ms, late))) / 2;
}

/**
 * The nearest whole number; from half-way the even one, as in the tracks.
 * @param {number} value
 */
function rounded(value) {
  const nearest = Math.round(value);
  return nearest - value === 0.5 && nearest % 2 !== 0 ? nearest - 1 : nearest;
}
