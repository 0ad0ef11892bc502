// Speed and size of the raw record, beside a file of one JSON message a sample, in one run: npx tsx bench/record.ts
import fs from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { BOARD_STATES, type SampleBlock } from '../src/model/sample';
import type { RunHeader } from '../src/record/header';
import { McapOut } from '../src/record/mcap-out';
import { openRecord } from '../src/record/file-writer';
import { readRecord } from '../src/record/file-reader';
import { COLUMN_OF, type ChannelFact, type ChannelKind } from '../src/model/channel';

const CHANNELS = 8;
const RATE_HZ = 8000;
const ROWS = Number(process.argv[2] ?? 1_000_000);
const BLOCK = 40;

/** Eight channels, all at the row rate, each with noise of a few counts: the hard case. */
function blocks(): SampleBlock[] {
  let s = 1;
  const noise = () => {
    s = (Math.imul(s, 1664525) + 1013904223) >>> 0;
    return s / 4294967296 - 0.5;
  };
  const out: SampleBlock[] = [];
  for (let b = 0; b < ROWS / BLOCK; b++) {
    const block: SampleBlock = {
      rows: BLOCK, tick_us: new Float64Array(BLOCK), throttle: new Uint16Array(BLOCK), state: new Uint8Array(BLOCK).fill(2), ordinal: new Uint16Array(BLOCK).fill(3),
      fresh: new Uint8Array(BLOCK).fill(0xff), valid: new Uint8Array(BLOCK).fill(0xff), counts: Array.from({ length: CHANNELS }, () => new Int32Array(BLOCK)),
    };
    for (let i = 0; i < BLOCK; i++) {
      const row = b * BLOCK + i;
      block.tick_us[i] = (row * 1e6) / RATE_HZ;
      block.throttle[i] = Math.floor(5000 + 4999 * Math.sin(row / 20_000));
      block.counts.forEach((c, k) => { c[i] = Math.round(2000 * (k + 1) * (1 + 0.3 * Math.sin(row / 9000 + k)) + 16 * noise()); });
    }
    out.push(block);
  }
  return out;
}

const kinds: ChannelKind[] = ['current', 'voltage', 'speed', 'thrust', 'motor_temperature', 'esc_temperature', 'torque', 'torque'];
const header: RunHeader = {
  format: 1, record_id: 'bench', simulated: true, protocol: { name: 'bench', parameters: {} }, settings: {}, supply: null, rig: {}, article: {}, craft: null,
  calibration: null, campaign: null, limits: {}, mounting: null, environment: null, versions: { spoolbench: '0', wire: 1, controller: '' }, seed: 1, epoch_us: 0,
  row_period_us: 1e6 / RATE_HZ,
  channels: kinds.map((kind, id): ChannelFact => ({
    id, kind, column: id < 7 ? COLUMN_OF[kind] : 'torque_2_Nm', period_us: 1e6 / RATE_HZ, conversion: { law: 'linear', zero: 0, c0: 0, c1: 1, c2: 0 },
    u_gain: 0, u_offset: 0, filter_Hz: null, averaged: 1, placement: null,
  })),
};

const folder = fs.mkdtempSync(path.join(os.tmpdir(), 'spoolbench-bench-'));
const data = blocks();

interface Took {
  readonly wall_s: number;
  /** Processor time, which other work on the machine disturbs less. */
  readonly cpu_s: number;
}

function timed(work: () => void): Took {
  const cpu = process.cpuUsage();
  const start = performance.now();
  work();
  const wall_s = (performance.now() - start) / 1000;
  const { user, system } = process.cpuUsage(cpu);
  return { wall_s, cpu_s: (user + system) / 1e6 };
}

function ours(file: string): void {
  const log = openRecord(file, header, [], { sync: 'never' });
  for (const b of data) log.block(b);
  log.close();
}

/** The obvious way: one JSON message a sample, compressed in the same container at the same rhythm. */
function baseline(file: string): void {
  const fd = fs.openSync(file, 'wx');
  const out = new McapOut((bytes) => { fs.writeSync(fd, bytes); }, '', 'baseline');
  out.channel({ id: 1, schemaId: 0, topic: '/sample', messageEncoding: 'json', metadata: new Map() });
  out.flushHead();
  const utf8 = new TextEncoder();
  let written_us = 0;
  for (const b of data) {
    for (let i = 0; i < b.rows; i++) {
      const sample: Record<string, number | string> = { tick_us: b.tick_us[i], throttle: b.throttle[i], state: BOARD_STATES[b.state[i]], ordinal: b.ordinal[i], fresh: b.fresh[i], valid: b.valid[i] };
      for (let k = 0; k < CHANNELS; k++) sample[header.channels[k].column] = b.counts[k][i];
      const time = BigInt(b.tick_us[i]) * 1000n;
      out.message(1, time, time, utf8.encode(JSON.stringify(sample)));
    }
    if (b.tick_us[b.rows - 1] - written_us >= 100_000) {
      out.flushChunk();
      written_us = b.tick_us[b.rows - 1];
    }
  }
  out.finish();
  fs.closeSync(fd);
}

function line(name: string, took: Took, bytes: number | null): { rate: number; size: number } {
  const rate = ROWS / took.wall_s / 1e6;
  const size = (bytes ?? 0) / ROWS;
  const perCpu = (ROWS / took.cpu_s / 1e6).toFixed(2).padStart(6);
  console.log(`${name.padEnd(36)}${rate.toFixed(2).padStart(6)} MS/s ${perCpu} MS per CPU s ${bytes === null ? '' : `${size.toFixed(2).padStart(6)} B/sample`}`);
  return { rate, size };
}

try {
  const warm = path.join(folder, 'warm-up.mcap');
  ours(warm);
  readRecord(warm);
  const file = path.join(folder, 'ours.mcap');
  const written = line('record, 8 channels', timed(() => { ours(file); }), fs.statSync(file).size);
  let rows = 0;
  line('read back, all channels', timed(() => { rows = readRecord(file).groups[0].rows; }), null);
  if (rows !== ROWS) throw new Error(`read ${rows} of ${ROWS} rows`);
  const other = path.join(folder, 'baseline.mcap');
  const base = line('baseline: one JSON message a sample', timed(() => { baseline(other); }), fs.statSync(other).size);
  console.log(`ratio: ${(written.rate / base.rate).toFixed(1)}x the speed, ${(base.size / written.size).toFixed(1)}x smaller; rss ${(process.memoryUsage().rss / 2 ** 20).toFixed(0)} MB`);
} finally {
  fs.rmSync(folder, { recursive: true });
}
