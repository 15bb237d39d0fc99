// Tempos that step up, in the words of the command line: "80-140:8 up-and-back", "60%".

/**
 * @typedef {object} Climb
 * @property {number} from
 * @property {number} to
 * @property {number} step
 * @property {"bpm" | "percent"} unit  Of all three; a percent is of the tune's own tempo.
 * @property {string} order  One of ORDERS.
 * @property {boolean} home  Whether the tune's own tempo comes last, after one above it.
 */

export const ORDERS = ["up", "up-and-back", "two-up-one-down", "slow-and-goal"];
/** What a climb that names no end or no step has, in percent. */
const [GOAL, STEP] = [105, 5];
const MOST_STEPS = 200;
const NUMBER = "(\\d+(?:\\.\\d+)?)(%?)";
const WORDS = new RegExp(`^${NUMBER}(?:[-–]${NUMBER})?(?::${NUMBER})?$`);

/**
 * A climb from words; null where they are none.
 * @param {string} text
 * @param {number} own  The tune's own tempo.
 * @returns {Climb | null}
 */
export function climbOf(text, own) {
  const words = text.toLowerCase().split(/\s+/).filter(Boolean);
  const order = words.find((word) => ORDERS.includes(word)) ?? "up";
  const match = WORDS.exec(words.filter((word) => !ORDERS.includes(word)).join(""));
  if (!match) return null;
  const [, low, lowPercent, high, highPercent, step, stepPercent] = match;
  const unit = [lowPercent, high ? highPercent : "%", step ? stepPercent : "%"].every(Boolean) ? "percent" : "bpm";
  /** @param {string | number} number @param {string} percent */
  const value = (number, percent) => (percent && unit === "bpm" ? (Number(number) * own) / 100 : Number(number));
  const from = value(low, lowPercent);
  const open = !high && order !== "slow-and-goal" && from < (unit === "percent" ? 100 : own);
  return {
    from, to: high ? value(high, highPercent) : value(open ? GOAL : 100, "%"),
    step: step ? value(step, stepPercent) : value(STEP, "%"), unit, order, home: open,
  };
}

/**
 * A climb in words.
 * @param {Climb} climb
 */
export function climbWords({ from, to, step, unit, order, home }) {
  const sign = unit === "percent" ? "%" : "";
  const goal = home ? "" : `-${to}${sign}`;
  const range = home && sign && step === STEP ? `${from}%` : `${from}${sign}${goal}:${step}${sign}`;
  return order === "up" ? range : `${range} ${order}`;
}

/**
 * The tempos in bpm as they are played; none where the climb does not go up.
 * @param {Climb} climb
 * @param {number} own
 * @returns {number[]}
 */
export function temposOf({ from, to, step, unit, order, home }, own) {
  const each = unit === "percent" ? own / 100 : 1;
  const count = Math.ceil((to - from) / step - 1e-9);
  if (!(from < to && step > 0 && count <= MOST_STEPS)) return [];
  const upwards = Array.from({ length: count }, (_, at) => (from + at * step) * each);
  const tempos = inOrder([...upwards, to * each], order);
  return home && tempos[tempos.length - 1] > own ? [...tempos, own] : tempos;
}

/**
 * @param {number[]} tempos
 * @param {string} order
 */
function inOrder(tempos, order) {
  const goal = tempos[tempos.length - 1];
  switch (order) {
    case "up-and-back":
      return [...tempos, ...tempos.slice(0, -1).reverse()];
    case "two-up-one-down": {
      const starts = Array.from({ length: Math.max(1, tempos.length - 2) }, (_, at) => at);
      return starts.flatMap((at) => tempos.slice(at, at + 3));
    }
    case "slow-and-goal":
      return tempos.slice(0, -1).flatMap((slow) => [slow, goal]);
    default:
      return tempos;
  }
}
