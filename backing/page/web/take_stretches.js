// The likeliest row of pitches and silences (Viterbi), in stretches of one pitch.

/**
 * Frames `first` up to `last` on one pitch.
 * @typedef {{first: number, last: number, pitch: number}} Stretch
 */

/**
 * @param {ArrayLike<number>} pitch  MIDI numbers with fractions, the tuning taken out.
 * @param {ArrayLike<number>} confidence
 * @param {Record<string, number>} bounds  Of listening.
 * @returns {Stretch[]}
 */
export function stretchesOf(pitch, confidence, bounds) {
  let low = Infinity;
  let high = -Infinity;
  for (let at = 0; at < pitch.length; at += 1) {
    if (confidence[at] < bounds.voiced) continue;
    low = Math.min(low, Math.floor(pitch[at]));
    high = Math.max(high, Math.ceil(pitch[at]));
  }
  if (low > high) return [];
  const states = high - low + 2; // the first is silence
  const cost = new Float64Array(pitch.length * states);
  for (let at = 0; at < pitch.length; at += 1) {
    const sure = confidence[at];
    const trust = Math.min(1, Math.max(0.05, sure));
    const unsure = 1.5 * Math.max(0, 0.6 - sure);
    cost[at * states] = 2 * Math.min(1, Math.max(0, sure - 0.25));
    for (let state = 1; state < states; state += 1) {
      const away = Math.abs(pitch[at] - low - state + 1) / bounds.width;
      cost[at * states + state] = Math.min(away, bounds.farthest) * trust + unsure;
    }
  }
  return inStretches(cheapest(cost, states, bounds), low);
}

/** @param {Int16Array} way @param {number} low @returns {Stretch[]} */
function inStretches(way, low) {
  const found = [];
  let first = 0;
  for (let at = 1; at <= way.length; at += 1) {
    if (at < way.length && way[at] === way[first]) continue;
    if (way[first] > 0) found.push({ first, last: at, pitch: low + way[first] - 1 });
    first = at;
  }
  return found;
}

/** The state of each frame for the least total cost; state 0 is silence.
 * @param {Float64Array} cost @param {number} states @param {Record<string, number>} bounds */
function cheapest(cost, states, { change, silence }) {
  const count = cost.length / states;
  const back = new Int16Array(cost.length);
  const total = cost.slice(0, states);
  for (let at = 1; at < count; at += 1) {
    const sounding = leastOf(total, 1);
    const quiet = total[0] + silence < total[sounding] + change;
    const pitched = quiet ? total[0] + silence : total[sounding] + change;
    const silent = total[sounding] + silence;
    const row = at * states;
    for (let state = 0; state < states; state += 1) {
      const come = state > 0 ? pitched : silent;
      const stays = total[state] <= come;
      back[row + state] = stays ? state : state > 0 && quiet ? 0 : sounding;
      total[state] = (stays ? total[state] : come) + cost[row + state];
    }
  }
  const way = new Int16Array(count);
  way[count - 1] = leastOf(total, 0);
  for (let at = count - 1; at > 0; at -= 1) way[at - 1] = back[at * states + way[at]];
  return way;
}

/** @param {Float64Array} values @param {number} from */
function leastOf(values, from) {
  let best = from;
  for (let at = from; at < values.length; at += 1) if (values[at] < values[best]) best = at;
  return best;
}
