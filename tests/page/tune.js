// A tune of four bars for the tests: two parts, two takes, a push into bar three.

const BARS = ["1", "2", "3", "4"].map((label, at) => ({
  label, section: "A", top: at === 0, beats: 4, groups: [2, 2], meter: "4/4", swing: /** @type {const} */ ("ride"), wander: 1,
  tempo_ratios: [1], changes: [[0, at, 0]],
}));

/** @param {number} pitch */
const walk = (pitch) => [0, 480, 960, 1440].map((tick, at) => [tick, 400, pitch + at, 80, 0, 1]);

/** @param {number} key */
const chord = (key) => [[0, 900, key, 64, 0, 1], [1680, 200, key, 64, 0, 1]];

/** @returns {any} */
export function tune() {
  const takes = [0, 1].map((take) => [40, 43, 36, 41].map((pitch) => walk(pitch + take)));
  const comp = [60, 62, 64, 65].map(chord);
  comp[2].unshift([-240, 900, 64, 72, 0, 3]); // the whole band pushes bar three
  comp[1].unshift([-240, 200, 62, 64, 0, 1]); // the piano alone anticipates bar two
  const drums = BARS.map(() => [[0, 240, 51, 80, 0, 1], [480, 120, 44, 72, -8, 5], [1440, 120, 44, 72, -8, 5]]);
  return {
    id: "four", ticks: 480, tempo: 120, title: "Four", bars: BARS, chorus: 4, form: null, part: "C", session: {},
    keys: [{ name: "C", semitones: 0 }, { name: "D", semitones: 2 }, { name: "F", semitones: 5 }],
    swing: { points: [[60, 2], [200, 2]], shortest_ms: 10, spare_ms: 0, soloist: [2, 0], latest_ms: 50 },
    heard: ["bass", "comp", "drums"], neck: null,
    line: { opens: "eighths", besides: "etude", subdivisions: [0], calls: [], strokes: [], lines: [{ words: "eighths", kind: "line", unbroken: true, takes: [[]] }] },
    parts: [
      { id: "bass", name: "Bass", voice: "bass", takes },
      { id: "comp", name: "Comp", voice: "comp", takes: [comp] },
      { id: "drums", name: "Drums", voice: "drums", takes: [drums] },
    ],
    counts: {
      "4/4": [
        { up_to: 70, bars: [[0, 480, 960, 1440].map((tick) => [tick, 120, 37, 88, 0, 0])] },
        { up_to: 1000, bars: [[[0, 120, 37, 88, 0, 0]], [[0, 120, 37, 88, 0, 0], [480, 120, 37, 88, 0, 0]]] },
      ],
    },
    rest_bars: { "4/4": [[480, 120, 44, 72, -8, 5]] },
    spans: BARS.map((_, at) => [at, 0, 1920, at]),
    sound: { voices: { bass: { kit: false }, comp: { kit: false }, drums: { kit: true } } },
  };
}

/** @returns {any} */
export function routine(wanted = {}) {
  return {
    whole: false, choruses: 3, ending: "held", bars: [0, 1, 2, 3], tempo: 120, climb: null, times: 1, keys: [0], countIn: false, leadIn: 0,
    restBars: 0, grow: false, trade: 0, partner: "drums", partnerFirst: false, layOut: 0, same: false, line: "", ...wanted,
  };
}

/** Bars from one to another. @param {number} from @param {number} to */
export function run(from, to) {
  return Array.from({ length: to - from + 1 }, (_, at) => from + at);
}
