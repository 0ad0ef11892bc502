// Goal: exports hold every row with units, freshness and segments, open with other people's tools, and repeat byte for byte.
// Method: a made-up record exported to CSV and Parquet; the Parquet read with hyparquet; SI values checked by hand-written formulas.
import fs from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { parquetMetadata, parquetReadObjects } from 'hyparquet';
import { afterAll, describe, expect, test } from 'vitest';
import { CannotRecord, NotARecord } from '../../src/record/errors';
import { csvLines } from '../../src/record/export-csv';
import { ExportTable } from '../../src/record/export-table';
import { exportCsvText, exportPath, exportRecord } from '../../src/record/file-export';
import { readRecordBytes } from '../../src/record/reader';
import { recordedRows } from '../../src/record/timeline';
import { emptyBlock, makeHeader, makeRecord } from './make';

const folder = fs.mkdtempSync(path.join(os.tmpdir(), 'spoolbench-export-'));
afterAll(() => { fs.rmSync(folder, { recursive: true }); });

const made = makeRecord({ rows: 900, block: 64, seed: 2 });
const file = path.join(folder, 'run.mcap');
fs.writeFileSync(file, made.bytes);
const record = readRecordBytes(made.bytes);
const rows = recordedRows(record);
if (rows === null) throw new Error('no rows');

const NAMES = [
  't_s', 'tick_us', 'state', 'segment', 'segment_label', 'segment_role', 'throttle_frac', 'current_A', 'current_fresh', 'current_valid', 'voltage_V',
  'voltage_fresh', 'voltage_valid', 'speed_rpm', 'speed_fresh', 'speed_valid', 'thrust_N', 'thrust_fresh', 'thrust_valid', 'motor_degC', 'motor_fresh',
  'motor_valid', 'esc_degC', 'esc_fresh', 'esc_valid', 'torque_Nm', 'torque_fresh', 'torque_valid',
];

/** A reader of RFC 4180 fields, enough for what is written here. */
function parseCsv(text: string): string[][] {
  return text.trimEnd().split('\n').map((line) => [...line.matchAll(/("(?:[^"]|"")*"|[^,]*)(?:,|$)/g)].map((m) => m[1]).slice(0, NAMES.length).map((f) => (f.startsWith('"') ? f.slice(1, -1).replaceAll('""', '"') : f)));
}

describe('CSV', () => {
  const out = exportRecord(file, 'csv');
  const [heading, ...lines] = parseCsv(fs.readFileSync(out.path, 'utf8'));
  const column = (name: string) => lines.map((l) => l[heading.indexOf(name)]);

  test('has a heading with units and one line a row', () => {
    expect(out).toMatchObject({ path: path.join(folder, 'run.csv'), rows: 900, bytes: fs.statSync(out.path).size, end: { status: 'complete' } });
    expect(heading).toEqual(NAMES);
    expect(lines).toHaveLength(900);
  });

  test('time starts at 0 and follows the ticks; throttle is a fraction; labels with commas and quotes survive', () => {
    expect(column('t_s').slice(0, 3)).toEqual(['0', '0.001', '0.002']);
    expect(column('tick_us')[899]).toBe(String(250_000 + 899_000));
    expect(column('throttle_frac').every((t) => Number(t) >= 0 && Number(t) <= 1)).toBe(true);
    expect(column('segment_label')[0]).toBe('step, "1"');
    expect(new Set(column('segment_role'))).toEqual(new Set(['plateau']));
    expect(new Set(column('state'))).toEqual(new Set(['driving']));
  });

  test('values are the counts in SI: linear channels by gain and zero, speed by 60 / (period x pole pairs)', () => {
    for (const i of [0, 1, 333, 899]) {
      expect(Number(column('current_A')[i])).toBeCloseTo(rows.counts[0][i] * 0.01, 8);
      expect(Number(column('thrust_N')[i])).toBeCloseTo((rows.counts[3][i] - 120) * 0.0005, 8);
      expect(Number(column('speed_rpm')[i]) / (60 / (rows.counts[2][i] * 1e-6 * 6))).toBeCloseTo(1, 8);
    }
  });

  test('held and fresh samples can be told apart', () => {
    const freshRows = column('motor_fresh').flatMap((f, i) => (f === '1' ? [i] : []));
    expect(freshRows.length).toBeGreaterThan(5);
    expect(freshRows.length).toBeLessThan(11);
    const motor = column('motor_degC');
    for (let i = 1; i < motor.length; i++) if (motor[i] !== motor[i - 1]) expect(column('motor_fresh')[i] === '1' || rows.counts[4][i] !== rows.counts[4][i - 1]).toBe(true);
  });

  test('the same record gives the same bytes, in a file or as text', () => {
    const again = exportRecord(file, 'csv', path.join(folder, 'again.csv'));
    expect(again.sha256).toBe(out.sha256);
    let text = '';
    exportCsvText(file, (t) => { text += t; });
    expect(text).toBe(fs.readFileSync(out.path, 'utf8'));
  });

  test('force in gram-force: 1 gf = 9.80665 mN (standard gravity, CGPM 1901)', () => {
    const gf = exportRecord(file, 'csv', path.join(folder, 'gf.csv'), { force: 'gf' });
    const [names, first] = parseCsv(fs.readFileSync(gf.path, 'utf8'));
    expect(names).toContain('thrust_gf');
    expect(names).not.toContain('thrust_N');
    expect(Number(first[names.indexOf('thrust_gf')]) * 0.00980665).toBeCloseTo(Number(column('thrust_N')[0]), 7);
  });

  test('what a channel has not delivered yet is an empty field, not a zero', () => {
    const table = new ExportTable(makeHeader(), []);
    const block = { ...emptyBlock(3, 7), fresh: Uint8Array.of(0, 1, 0), valid: Uint8Array.of(0, 1, 0) };
    block.counts[0].set([150, 150, 160]);
    const cells = parseCsv(csvLines(table, block)).map((l) => l.slice(NAMES.indexOf('current_A')));
    expect(cells.map((l) => l.slice(0, 4))).toEqual([['', '0', '0', ''], ['1.5', '1', '1', ''], ['1.6', '0', '0', '']]);
  });
});

describe('Parquet', () => {
  const out = exportRecord(file, 'parquet');
  const bytes = fs.readFileSync(out.path);
  const buffer = bytes.buffer.slice(bytes.byteOffset, bytes.byteOffset + bytes.length);

  test('starts and ends with PAR1 (Apache Parquet format), with a little-endian footer length before the last', () => {
    expect(bytes.subarray(0, 4).toString('latin1')).toBe('PAR1');
    expect(bytes.subarray(-4).toString('latin1')).toBe('PAR1');
    expect(bytes.readUInt32LE(bytes.length - 8)).toBeLessThan(bytes.length - 12);
  });

  test('hyparquet reads the rows that the CSV has', async () => {
    const objects = await parquetReadObjects({ file: buffer });
    const [heading, ...lines] = parseCsv(fs.readFileSync(exportRecord(file, 'csv', path.join(folder, 'compare.csv')).path, 'utf8'));
    expect(objects).toHaveLength(lines.length);
    expect(Object.keys(objects[0])).toEqual(heading);
    for (const i of [0, 1, 450, 899]) {
      heading.forEach((name, k) => {
        const value: unknown = objects[i][name];
        if (typeof value === 'number') expect(value, name).toBeCloseTo(Number(lines[i][k]), 6 - Math.max(0, Math.ceil(Math.log10(Math.abs(value) + 1))) + 2);
        else if (typeof value === 'boolean') expect(lines[i][k], name).toBe(value ? '1' : '0');
        else expect(String(value), name).toBe(lines[i][k]);
      });
    }
  });

  test('carries units, header and the state of the record in its key-value metadata', () => {
    const entries = new Map(parquetMetadata(buffer).key_value_metadata?.map((e) => [e.key, e.value]));
    expect(JSON.parse(entries.get('spoolbench.units') ?? '')).toMatchObject({ t_s: 's', current_A: 'A', thrust_N: 'N', motor_degC: 'degC' });
    expect(JSON.parse(entries.get('spoolbench.header') ?? '')).toEqual(record.header);
    expect(entries.get('spoolbench.status')).toBe('complete');
    expect(entries.get('spoolbench.simulated')).toBe('true');
  });

  test('the same record gives the same bytes; long ones are written in several row groups', async () => {
    expect(exportRecord(file, 'parquet', path.join(folder, 'again.parquet')).sha256).toBe(out.sha256);
    const long = path.join(folder, 'long.mcap');
    fs.writeFileSync(long, makeRecord({ rows: 140_000, block: 1000 }).bytes);
    const big = exportRecord(long, 'parquet');
    const data = fs.readFileSync(big.path);
    const ab = data.buffer.slice(data.byteOffset, data.byteOffset + data.length);
    expect(parquetMetadata(ab).row_groups.length).toBeGreaterThan(1);
    const ticks = await parquetReadObjects({ file: ab, columns: ['tick_us'] });
    expect(ticks).toHaveLength(140_000);
    ticks.forEach((t, i) => { if (Number(t.tick_us) !== 250_000 + i * 1000) throw new Error(`row ${i}: ${String(t.tick_us)}`); });
  });
});

describe('exports that cannot be', () => {
  test('a cut-off record is exported as far as it goes, and says so', () => {
    const cut = path.join(folder, 'cut.mcap');
    fs.writeFileSync(cut, made.bytes.subarray(0, made.writes[4] + 5));
    const out = exportRecord(cut, 'csv');
    expect(out.end.status).toBe('cut-off');
    expect(out.rows).toBeGreaterThan(100);
  });

  test('an existing file stays as it is; a file without header has nothing to export', () => {
    expect(() => exportRecord(file, 'csv', file)).toThrow(CannotRecord);
    expect(fs.readFileSync(file)).toEqual(Buffer.from(made.bytes));
    const stub = path.join(folder, 'stub.mcap');
    fs.writeFileSync(stub, made.bytes.subarray(0, 50));
    expect(() => exportRecord(stub, 'csv')).toThrow(NotARecord);
    expect(fs.existsSync(exportPath(stub, 'csv'))).toBe(false);
  });
});
