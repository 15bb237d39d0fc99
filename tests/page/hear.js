// The page's ear outside a browser: node hear.js FILE RATE TABLE, 32-bit samples in, the take as JSON out.

import { readFileSync } from "node:fs";
import { argv } from "node:process";

import { Hearing } from "../../backing/page/web/take_hearing.js";
import { Resampler } from "../../backing/page/web/take_rate.js";

const [file, rate, table] = argv.slice(2);
const bytes = readFileSync(file);
const sound = new Float32Array(bytes.buffer, bytes.byteOffset, bytes.length / 4);
const hearing = new Hearing(JSON.parse(readFileSync(table, "utf-8")));
const resampler = new Resampler(Number(rate), 16000);
const BLOCK = 2048; // as an instrument's sound comes in
for (let at = 0; at < sound.length; at += BLOCK) hearing.add(resampler.add(sound.subarray(at, at + BLOCK)));
console.log(JSON.stringify(hearing.finish()));
