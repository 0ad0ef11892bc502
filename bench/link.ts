// Times decoding a 30-byte row frame into columns. Run: npx tsx bench/link.ts
import { encodeFrame, FrameDecoder } from '../src/link/codec';
import { RowBuffer, rowTick, sequenceOf } from '../src/link/rows';
import { TickUnwrapper } from '../src/link/ticks';
import { rowPayload } from '../tests/link/build';

const frames: number[] = [];
const N = 2000;
for (let i = 0; i < N; i++) {
  const payload = rowPayload({ sequence: i, tick: i * 1000, throttle: 5000, state: 2, ordinal: 3, fresh: 7, valid: 7, counts: [812 + (i % 9), 6080 - (i % 5), 331 + (i % 3)] });
  frames.push(...encodeFrame(payload));
}
const stream = Uint8Array.from(frames);
const buffer = new RowBuffer(6, 4096);
let ticks = new TickUnwrapper();
const decoder = new FrameDecoder((bytes, length) => {
  sequenceOf(bytes);
  buffer.append(bytes, length, ticks.advance(rowTick(bytes)));
});
let best = Infinity;
for (let round = 0; round < 40; round++) {
  const began = performance.now();
  const repeats = 20;
  for (let r = 0; r < repeats; r++) {
    ticks = new TickUnwrapper();
    for (let at = 0; at < stream.length; at += 512) decoder.push(stream.subarray(at, at + 512));
    buffer.rows = 0;
  }
  best = Math.min(best, ((performance.now() - began) * 1e6) / (repeats * N));
}
if (decoder.bad > 0) throw new Error(`${decoder.bad} bad frames`);
console.log(`decode, check and store: ${best.toFixed(0)} ns a frame of ${(stream.length / N).toFixed(1)} bytes (best of 40 rounds)`);
