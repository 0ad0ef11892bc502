// Goal: the summary tells what a record is, how it went and how it ends, from whole and from cut-off files.
// Method: records with known counts, so that rates, means and extremes can be written down by hand.
import { expect, test } from 'vitest';
import type { SampleBlock } from '../../src/model/sample';
import { readRecordBytes } from '../../src/record/reader';
import { summarize } from '../../src/record/summary';
import { RecordWriter } from '../../src/record/writer';
import { doneOutcome, emptyBlock, makeHeader, makeRecord, segmentStarted, yaml } from './make';

function record(write: (w: RecordWriter) => void): Uint8Array {
  const pieces: Buffer[] = [];
  const writer = new RecordWriter(makeHeader(), [yaml], (b) => pieces.push(Buffer.from(b)));
  write(writer);
  return Buffer.concat(pieces);
}

/** 1001 rows at 1 kHz: current rises from 1 A to 11 A; its last sample is impossible; the motor's temperature is fresh twice. */
function ramp(): SampleBlock {
  const block = emptyBlock(1001, 7);
  for (let i = 0; i <= 1000; i++) {
    block.tick_us[i] = 5_000_000 + i * 1000;
    block.throttle[i] = 5 * i;
    block.counts[0][i] = i === 1000 ? 999_999 : 100 + i;
    block.fresh[i] = 1 | (i === 0 || i === 500 ? 16 : 0);
    block.valid[i] = i === 1000 ? 16 : 17;
    block.counts[4][i] = i < 500 ? 250 : 300;
  }
  return block;
}

test('rates, extremes and means count fresh, possible samples only', () => {
  const bytes = record((w) => {
    w.event(segmentStarted(5_000_000, 1, 'up'));
    w.block(ramp());
    w.event({ type: 'segment-ended', tick_us: 6_000_000, ordinal: 1, why: 'time' });
    w.event({ type: 'desync', tick_us: 5_500_000, duration_us: 4000, ordinal: 1 });
    w.outcome(doneOutcome);
    w.finish();
  });
  const s = summarize(readRecordBytes(bytes), 'abc');
  expect(s).toMatchObject({
    about: { record_id: 'made-up-0001', simulated: true, protocol: 'thrust-curve', rig: 'test-stand', article: 'test-motor', first_row_us: 1_700_000_005_000_000 },
    sha256: 'abc', outcome: doneOutcome, rows: 1001, duration_s: 1, row_rate_Hz: 1000, throttle_max_frac: 0.5, closest: doneOutcome.closest,
    event_counts: { 'segment-started': 1, 'segment-ended': 1, desync: 1 }, notable: [{ type: 'desync' }],
    segments: [{ ordinal: 1, label: 'up', role: 'plateau', start_s: 0, duration_s: 1, ended: 'time' }], attachments: [{ name: 'rig.yaml', bytes: yaml.data.length }],
  });
  const [current, voltage, , , motor] = s.channels;
  expect(current).toMatchObject({ column: 'current_A', fresh: 1001, invalid: 1, rate_Hz: 1000 });
  expect(current.min).toBeCloseTo(1, 12);
  expect(current.max).toBeCloseTo(10.99, 12);
  expect(current.mean).toBeCloseTo((1 + 10.99) / 2, 9);
  expect(motor).toMatchObject({ fresh: 2, rate_Hz: 1, min: 25, mean: 27.5, max: 30 });
  expect(voltage).toMatchObject({ fresh: 0, rate_Hz: null, min: null, mean: null, max: null });
});

test('a cut-off record has a summary that says so; one cut in its header has nothing but that', () => {
  const { bytes, writes } = makeRecord({ rows: 500 });
  const cut = summarize(readRecordBytes(bytes.subarray(0, writes[3])), '');
  expect(cut).toMatchObject({ outcome: null, closest: [], end: { status: 'cut-off', has_outcome: false, closed: false } });
  expect(cut.rows).toBeGreaterThan(100);
  expect(summarize(readRecordBytes(bytes.subarray(0, 200)), '')).toMatchObject({ about: null, rows: 0, duration_s: 0, channels: [], end: { status: 'cut-off' } });
});

test('a record without rows is summarized without a NaN', () => {
  const s = summarize(readRecordBytes(makeRecord({ rows: 0 }).bytes), '');
  expect(s).toMatchObject({ rows: 0, duration_s: 0, row_rate_Hz: null, throttle_max_frac: null });
  expect(JSON.stringify(s, (_, v: unknown) => { if (typeof v === 'number' && !Number.isFinite(v)) throw new Error('not finite'); return v; })).toContain('"rows":0');
});
