// Goal: what analysis sees of a record is every new and possible sample, at its own time, and nothing held between them.
// Method: made-up records with fast and slow channels, dropouts and impossible samples, read by another route (the timeline of rows).
import { describe, expect, test } from 'vitest';
import { between, firstAt } from '../../src/analysis/run-data';
import { NothingToAnalyze, runDataOf } from '../../src/app/run-data';
import { readRecordBytes } from '../../src/record/reader';
import { timelineOf } from '../../src/record/timeline';
import { makeHeader, makeRecord } from '../record/make';

describe('from record to run data', () => {
  const record = readRecordBytes(makeRecord({ rows: 3000 }).bytes);
  const data = runDataOf(record);
  test('each channel holds exactly the samples that are new and possible', () => {
    const line = timelineOf(record);
    if (line === null) throw new Error('no timeline');
    expect(data.channels).toHaveLength(line.columns.size);
    for (const c of data.channels) {
      const column = line.columns.get(c.column);
      if (column === undefined) throw new Error(c.column);
      const at = Array.from(column.si.keys()).filter((i) => column.fresh[i] === 1 && column.valid[i] === 1);
      expect(Array.from(c.value), c.column).toEqual(at.map((i) => column.si[i]));
      expect(Array.from(c.t_s), c.column).toEqual(at.map((i) => line.t_s[i]));
      expect(c.impossible, c.column).toBe(Array.from(column.fresh).filter((f, i) => f === 1 && column.valid[i] === 0).length);
    }
  });
  test('segments start at their events; the last one, never ended, stops with the record', () => {
    expect(data.segments.map((s) => s.ordinal)).toEqual([1, 2, 3]);
    expect(data.segments[0].start_s).toBe(0);
    expect(data.segments[2]).toMatchObject({ ended: null, end_s: data.duration_s });
  });
  test('without rows there is nothing to analyze, and the reason is given', () => {
    const cut = readRecordBytes(makeRecord({ rows: 3000 }).bytes.subarray(0, 40));
    expect(() => runDataOf(cut)).toThrow(NothingToAnalyze);
    expect(() => runDataOf(readRecordBytes(makeRecord({ rows: 0, outcome: false, finish: false }).bytes))).toThrow(/no rows|no complete header/);
  });
  test('hover thrust comes from the article, else from the craft', () => {
    const of = (header: Parameters<typeof makeHeader>[0]) => runDataOf(readRecordBytes(makeRecord({ rows: 200, header: makeHeader(header) }).bytes)).facts;
    expect(of({ article: {}, craft: null }).hover_thrust_N).toBeNull();
    expect(of({ article: { hover_thrust_N: 0.4 } }).hover_thrust_N).toBe(0.4);
    expect(of({ article: {}, craft: { mass_kg: 0.16, rotors: 4, installed_loss: 0.06 } }).hover_thrust_N).toBeCloseTo((0.16 * 9.80665) / 4 / 0.94, 12);
  });
  test('a calibrated lead resistance goes before the declared one', () => {
    const of = (calibration: Parameters<typeof makeHeader>[0]) => runDataOf(readRecordBytes(makeRecord({ rows: 200, header: makeHeader({ rig: { lead_resistance_ohm: 0.008 }, ...calibration }) }).bytes)).facts;
    expect(of({})).toMatchObject({ lead_resistance_ohm: 0.008, u_lead_resistance: 0 });
    expect(of({ calibration: { lead_resistance: { u_gain: 0.01, law: { kind: 'constant', value: 0.0075 } } } })).toMatchObject({ lead_resistance_ohm: 0.0075, u_lead_resistance: 0.01 });
  });
});

test('a window takes its first instant and leaves its last', () => {
  const series = { t_s: Float64Array.of(0, 1, 2, 3), value: Float64Array.of(10, 11, 12, 13) };
  expect(Array.from(between(series, 1, 3).value)).toEqual([11, 12]);
  expect(Array.from(between(series, 3, 1).value)).toEqual([]);
  expect(firstAt(series.t_s, 1.5)).toBe(2);
  expect(firstAt(series.t_s, 9)).toBe(4);
});
