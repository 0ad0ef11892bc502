// Goal: `export` of an analyzed campaign gives tables that other tools read: each row with its unit, uncertainty and degrees of freedom.
// Method: made-up results; Parquet read back with an independent reader, CSV by its lines; the same figures as in results.json.
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { parquetMetadata, parquetReadObjects } from 'hyparquet';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { BadInput } from '../../src/app/errors';
import { exportResults } from '../../src/app/export-results';
import { makeResults } from './make-results';

const results = makeResults({ factors: { timing_advance: ['0 deg', '8 deg'] }, repeats: 3, metrics: ['full_throttle_rpm', 'full_throttle_thrust_N', 'hold_efficacy_N_per_W'] });
let top = '';
beforeAll(() => { top = mkdtempSync(join(tmpdir(), 'spoolbench-export-')); });
afterAll(() => { rmSync(top, { recursive: true, force: true }); });

function folder(content = JSON.stringify(results)): string {
  const made = mkdtempSync(join(top, 'campaign-'));
  writeFileSync(join(made, 'results.json'), content);
  return made;
}
async function rowsOf(path: string): Promise<{ rows: Record<string, unknown>[]; notes: Record<string, string | undefined> }> {
  const bytes = readFileSync(path);
  const file = bytes.buffer.slice(bytes.byteOffset, bytes.byteOffset + bytes.length);
  const notes = Object.fromEntries((parquetMetadata(file).key_value_metadata ?? []).map((k) => [k.key, k.value]));
  return { rows: await parquetReadObjects({ file }), notes };
}

describe('tables of results', () => {
  test('Parquet: every metric at every setting with unit, u and dof; marked simulated', async () => {
    const dir = folder();
    const { files, simulated } = exportResults(dir, 'parquet');
    expect(simulated).toBe(true);
    expect(files.map((f) => f.path)).toEqual(['metrics', 'repeats', 'curves', 'steps'].map((n) => join(dir, 'export', `${n}.parquet`)));
    const { rows, notes } = await rowsOf(files[0].path);
    expect(notes).toMatchObject({ 'spoolbench.simulated': 'true', 'spoolbench.table': 'metrics', 'spoolbench.campaign': 'made-up' });
    expect(rows).toHaveLength(6);
    const [metric] = results.metrics;
    const [setting] = metric.settings;
    expect(rows[0]).toMatchObject({ metric: 'full_throttle_rpm', setting: '0 deg', factor_timing_advance: '0 deg', unit: 'rpm', n: 3n, value: setting.estimate.value, u: setting.estimate.u, dof: setting.estimate.dof, verdict: 'baseline', simulated: 'true' });
    expect((await rowsOf(files[1].path)).rows).toHaveLength(18);
    const curves = await rowsOf(files[2].path);
    expect(curves.notes['spoolbench.units']).toBe('{"throttle_frac":"1"}');
    expect(curves.rows.length).toBeGreaterThan(0);
    for (const row of curves.rows) {
      expect(row.unit).toMatch(/^(N|rpm|A|W|N\/W)$/);
      expect(row.u === undefined || row.u === null ? row.dof ?? null : row.dof).toBe(row.u === undefined || row.u === null ? null : BigInt(Number(row.runs) - 1));
    }
  });

  test('CSV in gram-force: forces, and what is per force, by standard gravity (ISO 80000-3:2019), nothing else', () => {
    const dir = folder();
    const [newton] = exportResults(dir, 'csv', join(dir, 'n')).files;
    const [gram] = exportResults(dir, 'csv', join(dir, 'gf'), 'gf').files;
    const cells = (path: string): string[][] => readFileSync(path, 'utf8').trimEnd().split('\n').map((l) => l.split(','));
    const [head, ...inN] = cells(newton.path);
    const [, ...inGf] = cells(gram.path);
    const at = (name: string): number => head.indexOf(name);
    const ratios = inN.map((row, i) => [row[at('unit')], inGf[i][at('unit')], Number(inGf[i][at('value')]) / Number(row[at('value')])]);
    for (const [from, to, ratio] of ratios) {
      expect(to).toBe(from === 'N' ? 'gf' : from === 'N/W' ? 'gf/W' : from);
      expect(ratio).toBeCloseTo(from === 'rpm' ? 1 : 1000 / 9.80665, 9);
    }
  });

  test('the same export again changes nothing; another one is refused; without results there is none', () => {
    const dir = folder();
    const first = exportResults(dir, 'csv');
    expect(exportResults(dir, 'csv')).toEqual(first);
    expect(() => exportResults(dir, 'csv', undefined, 'gf')).toThrow('nothing is ever overwritten');
    expect(() => exportResults(mkdtempSync(join(top, 'empty-')), 'csv')).toThrow(BadInput);
  });

  test('no usable run: tables without rows, which both formats can hold', async () => {
    const dir = folder(JSON.stringify(makeResults({ usable: false })));
    const [csv] = exportResults(dir, 'csv').files;
    expect(readFileSync(csv.path, 'utf8').trimEnd().split('\n')).toHaveLength(1);
    expect((await rowsOf(exportResults(dir, 'parquet').files[0].path)).rows).toEqual([]);
  });
});
