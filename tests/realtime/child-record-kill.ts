// Child of record-kill.test.ts: an 8 kHz source paced by the real clock, written to a record, its ticks announced on stdout.
import fs from 'node:fs';
import { openRecord } from '../../src/record/file-writer';
import { makeHeader, seeded, emptyBlock } from '../record/make';

const PERIOD_US = 125;
/** 10 ms: a source that falls behind catches up in pieces of this size. */
const LARGEST_BLOCK = 80;
const path = process.argv[2];
const header = makeHeader({ row_period_us: PERIOD_US });
const log = openRecord(path, header, [], { sync: 'flush' });
const random = seeded(1);
const start = process.hrtime.bigint();
let next_us = 0;

setInterval(() => {
  const now_us = Number((process.hrtime.bigint() - start) / 1000n);
  for (let due = Math.floor((now_us - next_us) / PERIOD_US); due >= 32; due -= LARGEST_BLOCK) deliver(Math.min(due, LARGEST_BLOCK));
}, 2);

function deliver(rows: number): void {
  const block = emptyBlock(rows, header.channels.length);
  for (let i = 0; i < rows; i++) {
    block.tick_us[i] = next_us + i * PERIOD_US;
    block.counts.forEach((c, k) => { c[i] = Math.round(1000 * k + 30 * random()); });
  }
  block.fresh.fill(0x7f);
  next_us += rows * PERIOD_US;
  // Announced before it is written: the record may not lag behind this.
  fs.writeSync(1, `${block.tick_us[rows - 1]}\n`);
  log.block(block);
}
