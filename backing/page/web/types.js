/**
 * The words of the page's data, as page.schema.json has them, and of what the page makes of them.
 * Times in a bar are ticks (`PageData.ticks` to a beat); pitches are MIDI numbers.
 *
 * @typedef {[onset: number, length: number, pitch: number, velocity: number, late: number,
 *   flags: number, low?: number, high?: number]} NoteRow
 *   Lateness in ms; flags: 1 swung, 2 struck by the whole band, 4 keeps time when the band rests, 8 melodic;
 *   low and high: the tempos between which an ornament is played.
 * @typedef {[tick: number, chord: number, early: number]} ChangeRow  Chord -1 is N.C.
 * @typedef {[bar: number, tick: number, length: number, chord: number]} SpanRow
 * @typedef {[bar: number, tick: number, pitch: number, degree: string, chord: number]} GuideTone
 * @typedef {object} Bar
 * @property {string} label
 * @property {string} section
 * @property {boolean} top  Whether a section begins here.
 * @property {number} beats
 * @property {number[]} groups  How its beats fall together.
 * @property {string} meter
 * @property {"ride" | number} swing
 * @property {number} wander  The factor of the ride's ratio in this bar.
 * @property {number[]} tempo_ratios  Of stretches of equal length: one, or one for each beat.
 * @property {ChangeRow[]} changes
 * @typedef {object} Chord
 * @property {number} root  Pitch class in the tune's own key.
 * @property {number[]} tones  Pitch classes of chord tones and tensions there.
 * @property {number[]} tensions
 * @property {string[]} degrees  By half steps above the root; "" where there is none.
 * @property {number[]} discs  Tones drawn as discs, in half steps above the root.
 * @typedef {object} Key
 * @property {string} name
 * @property {number} semitones  From the tune's own key.
 * @property {[root: string, suffix: string, bass: string][]} symbols
 * @property {string[][]} names  Of every chord, by half steps above its root.
 * @typedef {object} SwingTable
 * @property {[tempo: number, ratio: number][]} points
 * @property {number} shortest_ms
 * @property {number} spare_ms  So much longer it is where the ratio wanders.
 * @property {[start: number, slope: number]} soloist  A soloist's own ratio by tempo.
 * @property {number} latest_ms
 * @typedef {object} Part
 * @property {string} id
 * @property {string} name
 * @property {string} voice
 * @property {NoteRow[][][]} takes  Takes of bars of notes; of the line there are none, see LineData.
 * @property {string} [instead_of]  The part it stands for while a guide line is heard.
 * @typedef {object} LineData  What can play as the line.
 * @property {string} opens  The words of the one the page opens with.
 * @property {string} besides  What is said of all of them, as words of the command line.
 * @property {{words: string, kind: "line" | "call", unbroken: boolean, takes: string[][]}[]} lines
 * @property {number[]} subdivisions  Those of one note value each, from slow to quick.
 * @property {number[]} calls
 * @property {[onset: number, length: number, velocity: number, late: number, flags: number][]} strokes
 * @typedef {[key: number, start: number, length: number, release: number,
 *   gains: [velocity: number, gain: number][]]} ZoneRow
 * @typedef {object} VoiceData
 * @property {boolean} kit
 * @property {[left: number, right: number]} pan
 * @property {[key: number, by: number[]][]} chokes
 * @property {ZoneRow[]} zones
 * @typedef {object} Sound
 * @property {string} font
 * @property {string} licence
 * @property {string} notice  Whose sounds they are.
 * @property {number} seconds
 * @property {number} gain
 * @property {number} room_gain
 * @property {number} room_rate
 * @property {Record<string, VoiceData>} voices
 * @typedef {object} NeckData
 * @property {number[]} strings  Open pitches, string 1 first.
 * @property {string[]} names
 * @property {number} frets
 * @property {number[]} positions
 * @property {number} best
 * @property {boolean} left_handed
 * @property {number[][][]} paths  By key, position and place on the path: a shape.
 * @property {number[]} order  The place on the path of each chord of the spans.
 * @property {string[]} shapes
 * @typedef {object} PageData
 * @property {string} id  A hash of all the rest: settings are kept by it.
 * @property {number} ticks
 * @property {string} version  Of the program that made the page.
 * @property {string} recipe  The command that makes it again.
 * @property {string} title
 * @property {string} by
 * @property {number} tempo
 * @property {string} feel
 * @property {{comp: string, occasion: string, others: string}} band  What the file holds of it, and the words that
 *   make another one.
 * @property {string} meter
 * @property {string[]} notes
 * @property {number} chorus  The first so many bars are the solo chorus.
 * @property {{head: number[], out: Record<string, number[]>} | null} form  The bars of the head, with what comes
 *   before it, and of the last head with each ending.
 * @property {"C" | "Bb" | "Eb"} part  For whom the chords are written when it opens.
 * @property {Record<string, string>} session  How it opens, in the words of the command line.
 * @property {Bar[]} bars
 * @property {Chord[]} chords
 * @property {SpanRow[]} spans
 * @property {Key[]} keys
 * @property {GuideTone[][]} guide_lines
 * @property {LineData} line
 * @property {import("./take_types.js").TakeTable} take
 * @property {SwingTable} swing
 * @property {Part[]} parts
 * @property {string[]} heard  The parts that are heard, until others are chosen.
 * @property {Record<string, {up_to: number, bars: NoteRow[][]}[]>} counts
 * @property {Record<string, NoteRow[]>} rest_bars
 * @property {Sound} sound
 * @property {NeckData | null} neck
 * @property {boolean} watched
 *
 * @typedef {object} Routine  What is practiced.
 * @property {boolean} whole  The whole form, head to ending, in place of a loop.
 * @property {number} choruses  Of the whole form: head, solos and last head together,
 * @property {string} ending  and how it ends.
 * @property {number[]} bars  Of the loop, in order.
 * @property {number} tempo
 * @property {import("./climb.js").Climb | null} climb
 * @property {number} times  Through the loop at each tempo, in each key and size.
 * @property {number[]} keys  Indexes into the keys, in turn.
 * @property {boolean} countIn
 * @property {number} leadIn
 * @property {number} restBars
 * @property {boolean} grow
 * @property {number} trade
 * @property {"drums" | "line"} partner
 * @property {boolean} partnerFirst
 * @property {number} layOut
 * @property {boolean} same
 * @property {string} line  The words of the line that is heard; "" for none.
 *
 * @typedef {"count" | "lead" | "play" | "rest" | "end"} Kind
 * @typedef {object} Turn  One bar as it is played, once.
 * @property {Kind} kind
 * @property {number} bar  The bar of the tune; of a count or a rest bar, the bar it leads to.
 * @property {number} counted  Which bar of the count, or after the end, from 0.
 * @property {number} beats
 * @property {number} take
 * @property {number} line  Which line plays, if any does.
 * @property {number} step  Of the routine: the tempo, key and size that hold.
 * @property {number} tempo  Of the step, in beats a minute.
 * @property {number[]} tempos  Of its stretches of equal length, in beats a minute.
 * @property {number} key
 * @property {ReadonlySet<string>} resting  Voices that rest; "kit" is all but the hi-hat foot.
 *
 * @typedef {object} Struck  A note of a turn.
 * @property {string} part
 * @property {string} voice
 * @property {number} onset  Beats from the start of the turn, as written.
 * @property {number} length
 * @property {number} pitch
 * @property {number} velocity
 * @property {number} late  In ms.
 * @property {boolean} swung
 * @property {boolean} together
 * @property {boolean} foot
 * @property {boolean} melodic  Late on the beat by what its tempo says.
 * @property {number} low
 * @property {number} high
 * @property {string} place  String, fret and finger in the tune's own key, where it is told.
 */

export {};
