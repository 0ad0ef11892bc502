// Goal: from records to results through the commands: run ends with results and report; bad records are named, left out and never a crash.
// Method: one small campaign on the simulated rig, run once; copies of its folder with records missing, cut, doubled, foreign, of another version.
import fs from 'node:fs';
import path from 'node:path';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { comparisonSchema } from '../../src/model/comparison';
import { resultsSchema, type Results } from '../../src/model/results';
import { benchFolder, cleanUp, tempFolder, type Edits } from '../app/kit';
import { campaignsIn, recordsIn, spoolbench, type Said } from './kit';

afterAll(cleanUp);

const campaign = (name: string, repeats: number): string => `spoolbench: 1
campaign: ${name}
rig: ../rig.yaml
article: ../article.yaml
factors: { switching_frequency: { levels: [22 kHz, 88 kHz], apply: rig } }
protocols: [thrust-curve: { ramp: 1 s, plateau: 1 s }, efficiency-hold: { current: 1.4 A, hold: 1 s, use_last: 500 ms }]
repeats: ${repeats}
margins: { full_throttle_rpm: 1 %, hold_rpm: 1 % }
choice: { objective: { most: hold_rpm } }
`;

/** Runs a campaign in a bench of its own; its folder and what was said. */
function made(name: string, repeats: number, edits: Edits = {}, ...more: readonly string[]): { folder: string; said: Said } {
  const bench = benchFolder(edits);
  fs.rmSync(path.join(bench, 'protocols/creep-up.ts'));
  fs.writeFileSync(path.join(bench, `campaigns/${name}.yaml`), campaign(name, repeats));
  const said = spoolbench(bench, 'run', `campaigns/${name}.yaml`, '--quiet', ...more);
  return { folder: campaignsIn(path.join(bench, 'records'))[0], said };
}
function copyOf(folder: string): string {
  const copy = path.join(tempFolder(), 'campaign');
  fs.cpSync(folder, copy, { recursive: true });
  for (const name of fs.readdirSync(copy)) if (/^(results|report)/.test(name)) fs.rmSync(path.join(copy, name));
  return copy;
}
/** Analyzes and reports; every number is finite, or null with a reason beside it. */
function analyzed(folder: string): { results: Results; page: string; told: string } {
  const said = spoolbench(folder, 'analyze', '.');
  expect(said, said.err).toMatchObject({ code: 0 });
  const text = fs.readFileSync(path.join(folder, 'results.json'), 'utf8');
  expect(text).not.toMatch(/NaN|Infinity/);
  const results = resultsSchema.parse(JSON.parse(text));
  for (const m of results.metrics) {
    for (const { estimate, n } of m.settings) {
      if (estimate.value === null || estimate.u === null) expect(estimate.reason, `${m.key} with ${n} repeats`).toMatch(/\w/);
      if (estimate.interval.lower === null) expect(estimate.interval.reason).toMatch(/\w/);
    }
    for (const c of m.contrasts) if (c.difference === null || c.interval.lower === null) expect(c.interval.reason).toMatch(/\w/);
  }
  const reported = spoolbench(folder, 'report', '.');
  expect(reported, reported.err).toMatchObject({ code: 0 });
  const page = fs.readFileSync(path.join(folder, reported.out.trim()), 'utf8');
  expect(page.includes('<b>SIMULATED</b>'), 'marked as simulated').toBe(true);
  expect(/>\s*(NaN|undefined)\b/.exec(page)).toBeNull();
  // The terminal names every run and file that is left out, with its reason.
  const told = said.err.replace(/\s+/g, ' ');
  for (const r of results.runs.filter((x) => x.status !== 'used').slice(0, 6)) expect(told).toContain(`${r.id}: ${r.status === 'missing' ? 'missing' : 'left out'}, ${r.reason ?? ''}`.replace(/\s+/g, ' '));
  for (const f of results.foreign) expect(told).toContain(`${f.file}: foreign, ${f.reason}`.replace(/\s+/g, ' '));
  return { results, page, told };
}

describe('results of a campaign', () => {
  let folder: string;
  let said: Said;
  beforeAll(() => { ({ folder, said } = made('small', 3)); });

  test('run ends with the answer, results and report; --no-report leaves them out', () => {
    expect(said, said.err).toMatchObject({ code: 0 });
    expect(said.out).toMatch(/\nResults: \S+results\.json\nReport: \S+report\.html\n$/);
    for (const file of ['results.json', 'results.csv', 'report.html']) expect(fs.existsSync(path.join(folder, file)), file).toBe(true);
    const [first] = resultsSchema.parse(JSON.parse(fs.readFileSync(path.join(folder, 'results.json'), 'utf8'))).answer;
    expect(said.out.replace(/\s+/g, ' ')).toContain(first);
    const without = made('small', 1, {}, '--no-report', '--json');
    expect(JSON.parse(without.said.out)).toMatchObject({ good: 4, results: null });
    expect(fs.existsSync(path.join(without.folder, 'results.json'))).toBe(false);
    // One repeat: values without intervals, in plain words, and no verdict.
    const { results, page } = analyzed(without.folder);
    const hold = results.metrics.find((m) => m.key === 'hold_rpm');
    expect(hold?.settings.map((s) => [s.n, s.estimate.value !== null, s.estimate.u])).toEqual([[1, true, null], [1, true, null]]);
    expect(hold?.settings[0].estimate.reason).toBe('one repeat: its spread is unknown, so there is no interval');
    expect(hold?.contrasts.map((c) => c.text)).toEqual(['no verdict: one repeat a setting: nothing to judge the difference by']);
    expect(page).toContain('no verdict');
  });

  test('the same analysis again changes nothing; earlier results are kept under a number; somebody else\'s file is not touched', () => {
    const copy = copyOf(folder);
    analyzed(copy);
    expect(spoolbench(copy, 'analyze', '.').err).not.toContain('kept as');
    fs.rmSync(recordsIn(copy)[0]);
    const again = spoolbench(copy, 'analyze', '.');
    expect(again.err).toContain('earlier results are kept as');
    const kept = (name: string): Results => resultsSchema.parse(JSON.parse(fs.readFileSync(path.join(copy, name), 'utf8')));
    expect([kept('results-1.json'), kept('results.json')].map((r) => r.runs.filter((x) => x.status === 'used').length)).toEqual([12, 11]);
    fs.writeFileSync(path.join(copy, 'results.json'), '{"mine": true}');
    expect(spoolbench(copy, 'analyze', '.')).toMatchObject({ code: 2, err: expect.stringContaining('nothing of yours is overwritten') as string });
    expect(fs.readFileSync(path.join(copy, 'results.json'), 'utf8')).toBe('{"mine": true}');
  });

  test('missing, cut-off, doubled, foreign and unreadable records are named with their reason, in results and report', () => {
    const copy = copyOf(folder);
    const [first, second, third] = recordsIn(copy);
    fs.rmSync(first);
    fs.truncateSync(second, Math.floor(fs.statSync(second).size * 0.6));
    fs.copyFileSync(third, path.join(copy, 'runs/9999-again.mcap'));
    fs.writeFileSync(path.join(copy, 'runs/a-text.mcap'), 'this is no record');
    fs.writeFileSync(path.join(copy, 'runs/empty.mcap'), '');
    const other = made('other', 1, {}, '--no-report');
    fs.copyFileSync(recordsIn(other.folder)[0], path.join(copy, 'runs/other.mcap'));
    const { results, page, told } = analyzed(copy);
    expect(told).toContain('2 of 12 planned runs not used, 4 foreign files:');
    const left = results.runs.filter((r) => r.status !== 'used');
    expect(left.map((r) => [r.status, r.reason])).toEqual([['missing', 'there is no record of this run'], ['left-out', expect.stringMatching(/^the record is cut off: /) as string]]);
    expect(Object.fromEntries(results.foreign.map((f) => [f.file, f.reason]))).toEqual({
      'runs/9999-again.mcap': expect.stringContaining('a second good record of run') as string, 'runs/a-text.mcap': expect.stringContaining('no usable record') as string,
      'runs/empty.mcap': expect.stringContaining('no usable record') as string, 'runs/other.mcap': 'it belongs to the campaign other, not to small',
    });
    expect(results.answer[0]).not.toContain('No run');
    for (const text of ['a-text.mcap', 'it belongs to the campaign other', 'there is no record of this run', 'the record is cut off']) expect(page).toContain(text);
  });

  test('records of another version, or none at all: no verdict, in words, and no crash', () => {
    const older = copyOf(folder);
    const plan = path.join(older, 'campaign.json');
    fs.writeFileSync(plan, fs.readFileSync(plan, 'utf8').replace(/("versions": *\{\s*"spoolbench": *)"[^"]+"/, '$1"0.0.9"'));
    const { results } = analyzed(older);
    expect(results.runs.map((r) => r.reason)).toEqual(results.runs.map(() => expect.stringMatching(/^made by version \S+, the campaign by 0\.0\.9$/) as string));
    const empty = copyOf(folder);
    for (const record of recordsIn(empty)) fs.rmSync(record);
    const none = analyzed(empty);
    expect(none.results).toMatchObject({ metrics: [], curves: [], steps: [] });
    for (const r of [results, none.results]) expect(r.answer[0]).toBe('No run can be used, so there is no verdict.');
    expect(none.page).toContain('No run can be used, so there is no verdict.');
    for (const [command, ...more] of [['fly'], ['curve', 'match'], ['export']]) {
      const refused = spoolbench(path.dirname(empty), command, ...more, 'campaign');
      expect(refused.err, `${command}: ${refused.out}`).not.toContain('Internal error');
      expect(refused.code).toBe(command === 'export' ? 0 : 2);
    }
  });

  test('a tripped run is left out with its trip; what was not run is missing; the run command does not analyze what is not finished', () => {
    const tripped = made('small', 1, { rig: [['seed: 1 }', 'seed: 1, faults: [{ fault: lost-propeller, at: 2 s }] }']] });
    expect(tripped.said.code).toBe(4);
    expect(tripped.said.err).toContain('Not analyzed');
    const { results } = analyzed(tripped.folder);
    expect(results.runs.find((r) => r.status === 'left-out')?.reason).toContain('the run ended as tripped');
    expect(results.runs.filter((r) => r.status === 'missing').length).toBeGreaterThan(0);
  });

  test('compare, curve match and fly: text and JSON on stdout, refusals with exit 2', () => {
    const other = made('small', 3, { rig: [['seed: 1 }', 'seed: 2 }']] }, '--no-report').folder;
    const compared = spoolbench(path.dirname(folder), 'compare', folder, other, '--json', '--out', path.join(tempFolder(), 'a-b.json'));
    expect(compared, compared.err).toMatchObject({ code: 0 });
    const comparison = comparisonSchema.parse(JSON.parse(compared.out));
    expect(comparison).toMatchObject({ simulated: true, mounting: 'same', calibration: 'other' });
    expect(comparison.metrics.find((m) => m.key === 'hold_rpm')?.rows.map((r) => r.contrast.interval.reason)).toEqual([null, null]);
    const text = spoolbench(path.dirname(folder), 'compare', folder, other);
    for (const part of ['SIMULATED', 'B − A', 'Speed at the hold, rpm', 'mean of these', 'simulated stand: seed 1 / seed 2']) expect(text.out).toContain(part);
    expect(spoolbench(folder, 'compare', '.', '.')).toMatchObject({ code: 2, out: '', err: expect.stringContaining('the same in both') as string });
    const map = spoolbench(folder, 'curve', 'match', '.', '--from', '22kHz', '--to', '88 kHz', '--rows', '5', '--json');
    expect(map, map.err).toMatchObject({ code: 0 });
    expect((JSON.parse(map.out) as { rows: { old: number }[] }).rows.map((r) => r.old)).toEqual([0, 0.25, 0.5, 0.75, 1]);
    expect(spoolbench(folder, 'curve', 'match', '.', '--from', '33 kHz').err).toContain('accepted: 22 kHz | 88 kHz');
    const flown = spoolbench(folder, 'fly', '.', '--craft', path.join(folder, '../../craft.yaml'), '--setting', '22 kHz', '--setting', '88 kHz');
    expect(flown, flown.err).toMatchObject({ code: 0 });
    expect(flown.out.replace(/\s+/g, ' ')).toMatch(/hovers at \S+ % \(\S+ to \S+ %\) throttle.*Against 22 kHz, 88 kHz changes hover power by \S+ W \(\S+ to \S+ W\)/);
    expect(spoolbench(folder, 'fly', '.', '--craft', '../../rig.yaml').code).toBe(2);
  });
});
