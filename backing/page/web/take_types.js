/**
 * The words of a take on the page, those of backing/take.
 *
 * @typedef {object} HeardNote  Seconds of the recording, a MIDI pitch.
 * @property {number} onset
 * @property {number} end
 * @property {number} pitch
 * @property {number} level  A velocity (MIDI), or dB.
 * @property {number} sure  How clearly it was heard, 0 to 1.
 * @property {number} cents  How far from its pitch, the tuning taken out.
 * @typedef {object} Heard
 * @property {HeardNote[]} notes
 * @property {number} tuning  Cents from A 440.
 * @property {number[]} doubts  Moments at which there may be an onset that is no note here.
 * @property {boolean} exact  From a MIDI instrument.
 * @property {boolean} clean  Quiet enough between notes for a soft one to be heard.
 * @property {string} refusal  Why it can't be judged, "" where it can.
 * @property {string[]} remarks
 * @typedef {object} CourseBar  A bar in time; beats and seconds of the track.
 * @property {string} label
 * @property {string} where  Which time it is played, "" where there is one.
 * @property {number} start
 * @property {number} beats
 * @property {number} seconds
 * @property {number} tempo
 * @property {number} swing
 * @property {boolean} yours
 * @property {number} [at]  The bar of the tune.
 * @typedef {object} CourseChord  A chord as it sounds; pitch classes; degrees and names by half steps above the root.
 * @property {number} start
 * @property {number} end
 * @property {string} symbol
 * @property {number} root
 * @property {number[]} tones
 * @property {number[]} tensions
 * @property {string[]} degrees
 * @property {string[]} names
 * @property {number} [reads]  Half steps by which it is written higher than it sounds.
 * @property {number[]} [shape]  The MIDI pitches of its tones under the hand in the position practiced.
 * @property {number[]} [reach]  All that lies there.
 * @typedef {{beat: number, seconds: number, pitch: number}} LineTone
 * @typedef {object} TakeTable  backing/take/table.py.
 * @property {Record<string, Record<string, number>>} bounds
 * @property {Record<string, string>} sentences
 * @property {Record<string, string>} figures
 * @property {string[]} plotted  The figures of the log's plot.
 * @property {string} plot_title
 * @property {string[]} honest  The share of chord tones in solos, and in exercises.
 * @property {[way: string, words: string][]} ways
 * @property {string[]} roles
 * @property {string[]} counted
 * @typedef {"on" | "off" | "other"} Slot
 * @typedef {object} PlacedNote
 * @property {HeardNote} note
 * @property {number} pitch
 * @property {number} beat
 * @property {number} end
 * @property {Slot} slot
 * @property {number} eighth
 * @property {number} bar
 * @property {number} chord  -1 where there is none.
 * @property {number | null} late  In ms.
 * @property {boolean} clear
 * @typedef {"chord tone" | "tension" | "approach" | "passing" | "enclosure" | "unresolved" | "unclear"} NoteKind
 * @typedef {object} JudgedNote
 * @property {PlacedNote} placed
 * @property {NoteKind} kind
 * @property {number} target  -1: none.
 * @property {boolean | null} inShape  Whether it lies under the hand in the position practiced; null without one.
 * @typedef {{bar: number, beat: string, pitch: number, name: string, chord: string, nearest: string,
 *   kind: NoteKind, goesTo: string}} Outside
 * @typedef {{bars: number[], by: number, swapped: boolean}} Slip
 * @typedef {{bar: number, chord: number, way: string, size: number, left: string, reached: string}} Crossing
 * @typedef {object} Timing
 * @property {number} notes
 * @property {number | null} late
 * @property {number | null} spread
 * @property {number | null} drift
 * @property {number | null} swing
 * @property {number | null} swingSpread
 * @property {number} pairs
 * @property {number} bandSwing
 * @property {number | null} accent
 * @property {{bar: number, ms: number}[]} shifts
 * @typedef {{notes: number, first: number, last: number}} Run
 * @typedef {object} Phrases
 * @property {number} count
 * @property {number} beats
 * @property {number} space
 * @property {number} echoes
 * @property {Run | null} longest
 * @property {{bar: number, eighth: number}[]} breaks
 * @property {boolean} unbroken
 * @typedef {{bar: number, eighth: number, wanted: number, played: number | null}} Departure
 * @typedef {{notes: number, right: number, departures: Departure[]}} AlongLine
 * @typedef {{bar: number, strokes: number, takenUp: number}} Answer
 * @typedef {{tempo: number, notes: number, outside: number}} AtTempo
 * @typedef {object} Account
 * @property {JudgedNote[]} notes
 * @property {number | null} tones
 * @property {number | null} tonesOn
 * @property {number | null} tonesOff
 * @property {[kind: NoteKind, count: number][]} kinds
 * @property {number[]} degrees
 * @property {number | null} inShape  The share under the hand in the position practiced.
 * @property {Outside[]} outside
 * @property {Slip[]} slips
 * @property {Crossing[]} crossings
 * @property {Timing} timing
 * @property {Phrases} phrases
 * @property {AlongLine | null} along
 * @property {Answer[]} answers
 * @property {AtTempo[]} tempos
 * @property {number} unclear
 * @typedef {{topic: string, sentence: string, bars: number[], weight: number}} Fault
 * @typedef {{sentences: string[], faults: Fault[], loop: number[]}} Advice  Loop: bars of the course.
 */

export {};
