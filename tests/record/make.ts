// Made-up runs for the tests of the record: seeded blocks with fast and slow channels.
import type { ChannelFact, ChannelKind } from '../../src/model/channel';
import { COLUMN_OF } from '../../src/model/channel';
import type { BenchEvent, RunOutcome } from '../../src/model/events';
import type { SampleBlock } from '../../src/model/sample';
import type { RecordAttachment, RunHeader } from '../../src/record/header';
import { RecordWriter, type WriterOptions } from '../../src/record/writer';

/** Mulberry32, a public-domain 32-bit generator. */
export function seeded(seed: number): () => number {
  let a = seed >>> 0;
  return () => {
    a = (a + 0x6d2b79f5) >>> 0;
    let t = Math.imul(a ^ (a >>> 15), a | 1);
    t ^= t + Math.imul(t ^ (t >>> 7), t | 61);
    return ((t ^ (t >>> 14)) >>> 0) / 4294967296;
  };
}

function channel(id: number, kind: ChannelKind, period_us: number, conversion: ChannelFact['conversion']): ChannelFact {
  return { id, kind, column: COLUMN_OF[kind], period_us, conversion, u_gain: 0.005, u_offset: 0.001, filter_Hz: null, averaged: 1, placement: null };
}

const linear = (c1: number, zero = 0) => ({ law: 'linear', zero, c0: 0, c1, c2: 0 }) as const;

export function channels(row_period_us: number): ChannelFact[] {
  return [
    channel(0, 'current', row_period_us, linear(0.01)),
    channel(1, 'voltage', row_period_us, linear(0.00125)),
    channel(2, 'speed', row_period_us, { law: 'period', unit_s: 1e-6, pole_pairs: 6, c1: 1 }),
    channel(3, 'thrust', 12_500, linear(0.0005, 120)),
    channel(4, 'motor_temperature', 100_000, linear(0.1)),
    channel(5, 'esc_temperature', 100_000, linear(0.1)),
    channel(6, 'torque', row_period_us, linear(1e-5)),
  ];
}

export function makeHeader(over: Partial<RunHeader> = {}): RunHeader {
  const row_period_us = over.row_period_us ?? 1000;
  return {
    format: 1, record_id: 'made-up-0001', simulated: true, protocol: { name: 'thrust-curve', parameters: { rise_s: 5 } },
    settings: { switching_frequency: 44_000, timing_advance: 16 }, supply: { set_V: 7.6 }, rig: { name: 'test-stand', voltage_at: 'esc' },
    article: { name: 'test-motor', hover_thrust_N: 0.3 }, craft: null, calibration: null, campaign: null, limits: { current_peak: { above_A: 40, for_s: 0.005 } },
    mounting: { name: 'first' }, environment: { ambient_degC: 21 }, versions: { spoolbench: '0.1.0', wire: 1, controller: 'abc123' }, seed: 7,
    epoch_us: 1_700_000_000_000_000, row_period_us, channels: channels(row_period_us), ...over,
  };
}

export interface MadeOptions {
  readonly rows: number;
  readonly block?: number;
  readonly seed?: number;
  readonly start_us?: number;
  readonly header?: RunHeader;
}

/** Blocks that reuse their memory, as the station does: whoever keeps them must copy. */
export function* makeBlocks({ rows, block = 50, seed = 1, start_us = 250_000, header = makeHeader() }: MadeOptions): Generator<SampleBlock> {
  const random = seeded(seed);
  const facts = header.channels;
  const due = facts.map(() => start_us);
  const held: number[] = facts.map((c) => (c.id === 4 ? 213 : 0));
  const memory = emptyBlock(block, facts.length);
  for (let done = 0; done < rows; done += block) {
    const n = Math.min(block, rows - done);
    for (let i = 0; i < n; i++) {
      const tick = start_us + (done + i) * header.row_period_us;
      let fresh = 0;
      facts.forEach((c, k) => {
        if (tick < due[k] || (k >= 3 && k <= 5 && tick === start_us)) return;
        due[k] = tick + c.period_us;
        held[k] = Math.round(1000 * (k + 1) + 300 * Math.sin(tick / 3e5) + 20 * (random() - 0.5));
        if (random() > 0.02) fresh |= 1 << k;
      });
      memory.tick_us[i] = tick;
      memory.throttle[i] = Math.min(10_000, Math.floor(((done + i) * 10_000) / rows));
      memory.state[i] = 2;
      memory.ordinal[i] = 1 + Math.floor(((done + i) * 3) / rows);
      memory.fresh[i] = fresh;
      memory.valid[i] = 0x7f & ~(random() < 0.01 ? 1 : 0);
      held.forEach((v, k) => { memory.counts[k][i] = v; });
    }
    yield { ...memory, rows: n };
  }
}

export function emptyBlock(rows: number, channelCount: number): SampleBlock {
  return {
    rows, tick_us: new Float64Array(rows), throttle: new Uint16Array(rows), state: new Uint8Array(rows), ordinal: new Uint16Array(rows),
    fresh: new Uint8Array(rows), valid: new Uint8Array(rows), counts: Array.from({ length: channelCount }, () => new Int32Array(rows)),
  };
}

export const segmentStarted = (tick_us: number, ordinal: number, label: string): BenchEvent => ({
  type: 'segment-started', tick_us, ordinal, throttle: 0, segment: { kind: 'level', throttle: 0.5, duration_s: 1, label, role: 'plateau' },
});

export const doneOutcome: RunOutcome = {
  outcome: 'done', stop_confirmed: true, trip: null, also: [], segments_played: 3, desyncs: 0, detail: 'all segments played',
  closest: [{ limit: 'current_peak', value: 12.5, bound: 40, unit: 'A', ratio: 0.3125, tick_us: 400_000 }],
};

export const yaml: RecordAttachment = { name: 'rig.yaml', media_type: 'application/yaml', data: new TextEncoder().encode('spoolbench: 1\nrig: test-stand  # ünïcode\n') };

/** A whole record in memory, with the end of each write. */
export function makeRecord(options: MadeOptions & WriterOptions & { outcome?: boolean; finish?: boolean }): { bytes: Uint8Array; writes: number[] } {
  const header = options.header ?? makeHeader();
  const pieces: Uint8Array[] = [];
  const writes: number[] = [];
  let length = 0;
  const writer = new RecordWriter(header, [yaml], (b) => {
    pieces.push(b.slice());
    writes.push((length += b.length));
  }, options);
  let ordinal = 0;
  let last = 0;
  for (const block of makeBlocks({ ...options, header })) {
    for (let i = 0; i < block.rows; i++) {
      if (block.ordinal[i] !== ordinal) writer.event(segmentStarted(block.tick_us[i], (ordinal = block.ordinal[i]), `step, "${ordinal}"`));
    }
    last = block.tick_us[block.rows - 1];
    writer.block(block);
  }
  writer.event({ type: 'link', tick_us: last, health: { frames: 10, bad_frames: 0, missing_frames: 0, resent_commands: 0 } });
  writer.event({ type: 'ended', tick_us: last, ordinal, how: 'complete' });
  if (options.outcome !== false) writer.outcome(doneOutcome);
  if (options.finish !== false) writer.finish();
  const bytes = new Uint8Array(length);
  pieces.forEach((p, i) => { bytes.set(p, i === 0 ? 0 : writes[i - 1]); });
  return { bytes, writes };
}
