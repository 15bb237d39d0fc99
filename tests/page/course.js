// What a page holds a take against: node course.js DATA TIMES POSITION, the course as JSON out.

import { readFileSync } from "node:fs";
import { argv } from "node:process";

import { secondsOf } from "../../backing/page/web/clock.js";
import { Rounds } from "../../backing/page/web/rounds.js";
import { plain } from "../../backing/page/web/settings.js";
import { courseOf } from "../../backing/page/web/take_track.js";

const data = JSON.parse(readFileSync(argv[2], "utf-8"));
const rounds = new Rounds(data, plain(data));
rounds.start(0, false);
let seconds = 0;
const played = Array.from({ length: data.chorus * Number(argv[3]) }, () => {
  const turn = rounds.next();
  const start = seconds;
  seconds += secondsOf(turn);
  return { turn, seconds: start };
});
const { bars, chords, line, position } = courseOf(data, played, rounds.next(), { first: 0, line: true, partner: "", reads: 0, position: Number(argv[4]) });
console.log(JSON.stringify({ bars, chords, line, position }));
