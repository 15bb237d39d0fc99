// A recording judged by the page's scripts outside a browser: node judge.js DATA ROUTINE SOUND RATE [BAR].

import { readFileSync } from "node:fs";
import { argv } from "node:process";

import { plain } from "../../backing/page/web/settings.js";
import { Hearing } from "../../backing/page/web/take_hearing.js";
import { Resampler } from "../../backing/page/web/take_rate.js";
import { tellRecorded } from "../../backing/page/web/take_session.js";

const [page, wanted, file, rate, from] = argv.slice(2);
const data = JSON.parse(readFileSync(page, "utf-8"));
const bytes = readFileSync(file);
const sound = new Float32Array(bytes.buffer, bytes.byteOffset, bytes.length / 4);
const resampler = new Resampler(Number(rate), 16000);
const hearing = new Hearing(data.take);
for (let at = 0; at < sound.length; at += 4096) hearing.add(resampler.add(sound.subarray(at, at + 4096)));
const routine = { ...plain(data), ...JSON.parse(wanted) };
const how = { first: routine.bars[0], line: false, partner: /** @type {const} */ (""), reads: 0, position: -1 };
const take = tellRecorded(data, routine, how, hearing.finish(), sound.length / Number(rate), from);
if (typeof take === "string") console.log(JSON.stringify({ refused: take }));
else {
  const { course, told, advice, offset } = take;
  const label = (/** @type {number} */ at) => course.bars[at].label;
  console.log(JSON.stringify({
    offset,
    topics: advice.faults.map(({ topic }) => topic),
    bars: advice.faults.map(({ bars }) => bars.map(label)),
    sentences: advice.sentences,
    loop: advice.loop.map(label),
    first: label(told.notes[0].placed.bar),
    notes: told.notes.length,
  }));
}
