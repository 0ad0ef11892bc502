// Goal: while a campaign runs it says who leads and whether that is settled, with few false claims although the leader was picked by its luck.
// Method: a published two-sample example with its boundary, seeded campaigns of equal settings, offsets of mountings; campaigns on the twin.
import fs from 'node:fs';
import path from 'node:path';
import { afterAll, describe, expect, test } from 'vitest';
import { runFile } from '../../src/app/run-file';
import { statusOf } from '../../src/app/status';
import { RunningVerdicts } from '../../src/app/verdicts';
import { Pcg32 } from '../../src/campaign';
import type { CampaignFile } from '../../src/model/files';
import type { SoFar } from '../../src/app/reporter';
import { soFarLines } from '../../src/cli/so-far-text';
import { cleanUp, SILENT } from './kit';
import { foldersIn, journalOf, notedIn, tiny, tinyBench } from './unattended-kit';

afterAll(cleanUp);

const SPEED = 'full_throttle_rpm';
type Margins = CampaignFile['margins'];

function verdictOf(values: Readonly<Record<string, readonly number[]>>, margins: Margins = {}, mounting: (i: number) => number = () => 1, metric: typeof SPEED | 'power_at_hover_W' = SPEED) {
  const v = new RunningVerdicts(new Map(Object.keys(values).map((id) => [id, `setting ${id}`])), [metric, 'kv_rpm_per_V', 'desyncs'], margins);
  for (const [setting, list] of Object.entries(values)) {
    list.forEach((value, i) => { v.note({ kind: 'cell', label: 'thrust-curve', setting, mounting: mounting(i) }, { [metric]: { value, unit: '' }, kv_rpm_per_V: { value, unit: '' }, desyncs: { value: i, unit: '' } }); });
  }
  return v.now();
}

/** Hours of sleep gained with two drugs: Student, Biometrika 6 (1908) 1. Pooled t = 1.8608 with 18 degrees of freedom, p = 0.07919 (as R's documentation of t.test prints it, from memory). */
const SLEEP = { a: [0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0, 2], b: [1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4] };
/** t(0.975; 18), any table of Student's t. */
const T18 = 2.1009;

describe('who leads', () => {
  test('two settings are told apart exactly where the published example says', () => {
    expect(verdictOf(SLEEP)).toMatchObject([{ metric: SPEED, leader: 'setting b', repeats: 10, ahead_of: 0, alike: 0, open: ['setting a'], settled: false, spread: 'pooled' }]);
    const u = 1.58 / 1.8608;
    for (const [off, settled] of [[-0.002, false], [0.002, true]] as const) {
      const shifted = { a: SLEEP.a, b: SLEEP.b.map((x) => x + T18 * u - 1.58 + off) };
      expect(verdictOf(shifted)[0].settled).toBe(settled);
    }
  });

  test('where less is better the least leads; a metric that only describes, and a count, have no leader', () => {
    expect(verdictOf(SLEEP, {}, () => 1, 'power_at_hover_W')).toMatchObject([{ metric: 'power_at_hover_W', leader: 'setting a' }]);
  });

  test('one repeat each tells nothing; one setting alone has nobody to lead', () => {
    const [one] = verdictOf({ a: [1], b: [2], c: [3] });
    expect(one).toMatchObject({ leader: 'setting c', open: ['setting b', 'setting a'], settled: false, spread: 'none' });
    expect(soFarLines({ good: 3, of: 9, verdicts: [one] }).at(-1)).toContain('one repeat each tells nothing yet');
    expect(verdictOf({ a: [1, 2, 3] })).toEqual([]);
  });

  test('a difference that is certain to be inside the margin counts as settled, a wider one does not', () => {
    const near = { a: [100, 100.1, 99.9, 100, 100.1, 99.9], b: [100.05, 100.15, 99.95, 100.05, 100.15, 99.95] };
    const margin = (value: number): Margins => ({ [SPEED]: { kind: 'relative', value, text: '' } });
    // The interval reaches 0.05 + t(0.975; 10) √(0.008 · 2/6) = 0.05 + 2.2281 · 0.05164 = 0.1651; of a leader at 100.05 that is 0.16498 %.
    expect(verdictOf(near, margin(0.0016498 * 1.001))[0]).toMatchObject({ alike: 1, settled: true });
    expect(verdictOf(near, margin(0.0016498 * 0.999))[0]).toMatchObject({ alike: 0, open: ['setting a'], settled: false });
  });

  test('what a mounting does to all settings alike changes no verdict', () => {
    const plain = verdictOf(SLEEP, {}, (i) => 1 + (i % 2));
    const moved = (list: readonly number[]): number[] => list.map((x, i) => x + 50 * (i % 2));
    const [shifted] = verdictOf({ a: moved(SLEEP.a), b: moved(SLEEP.b) }, {}, (i) => 1 + (i % 2));
    expect(shifted).toMatchObject({ ...plain[0], value: expect.closeTo(plain[0].value + 25, 9) as number });
  });

  test.each([['one spread', () => 1], ['spreads of their own', (s: number) => 1 + 4 * s]] as const)('of six equal settings with %s, the luckiest is called better in at most 5 % of campaigns', (_, sdOf) => {
    const rng = new Pcg32(11, 3);
    // Sum of twelve uniforms less six: near enough to normal, mean 0, spread 1.
    const normal = (): number => Array.from({ length: 12 }, () => rng.below(1 << 20) / (1 << 20)).reduce((a, b) => a + b, -6);
    let claims = 0;
    const campaigns = 600;
    for (let n = 0; n < campaigns; n++) {
      const values = Object.fromEntries(Array.from({ length: 6 }, (_x, s) => [`s${s}`, Array.from({ length: 4 }, () => 1000 + sdOf(s) * normal())]));
      if (verdictOf(values)[0].ahead_of > 0) claims++;
    }
    // Binomial: 600 campaigns at 5 % give 30 with a standard deviation of 5.3.
    expect(claims).toBeLessThanOrEqual(30 + 3 * 5.3);
  });
});

describe('in a campaign', () => {
  const text = tiny('factors: { timing_advance: { levels: [8 deg, 24 deg], apply: rig } }\nrepeats: 3\norder: { seed: 5 }\nmargins: { full_throttle_rpm: 1 % }', 'protocols: [thrust-curve]\n');

  test('they are told and written down once a round, and status shows the latest; figures lost to a kill are read back from the record', async () => {
    const bench = tinyBench(text);
    const told: SoFar[] = [];
    expect(await runFile(bench.file, {}, { ...SILENT, soFar: (s) => told.push(s) })).toMatchObject({ good: 6 });
    expect(told.map((s) => [s.good, s.of, s.verdicts.map((v) => [v.metric, v.leader, v.settled])])).toEqual([
      [2, 6, [[SPEED, '24 deg', false]]], [4, 6, [[SPEED, '24 deg', true]]], [6, 6, [[SPEED, '24 deg', true]]],
    ]);
    const [folder] = foldersIn(bench);
    expect(notedIn(folder, 'so-far').map((n) => n.data)).toEqual(told);
    expect(statusOf(folder).so_far).toEqual(told[2]);
    const figures4 = notedIn(folder, 'figures').find((n) => n.run === 4);
    // Killed after the ending of run 4 was written down and before its figures were.
    const journal = path.join(folder, 'journal.jsonl');
    const lines = fs.readFileSync(journal, 'utf8').split('\n');
    const cut = lines.findIndex((l) => l.includes('"ended"') && l.includes('"run":4'));
    fs.writeFileSync(journal, lines.slice(0, cut + 1).join('\n') + '\n');
    expect(notedIn(folder, 'figures').map((n) => n.run)).toEqual([1, 2, 3]);
    const four = statusOf(folder);
    expect(four.settings.map((s) => s.figures[SPEED].repeats)).toEqual([2, 2]);
    for (const name of fs.readdirSync(path.join(folder, 'runs')).filter((f) => f > '0005')) fs.rmSync(path.join(folder, 'runs', name));
    const end = await runFile(bench.file, { resume: true }, SILENT);
    expect(end.figures.map((f) => f.figures[SPEED]?.repeats)).toEqual([3, 3]);
    expect(notedIn(folder, 'figures').map((n) => n.run)).toEqual([1, 2, 3, 4, 5, 6]);
    expect(notedIn(folder, 'figures').find((n) => n.run === 4)).toEqual(figures4);
    // The session that ends the campaign has the last word, also when it made less than a round.
    expect(statusOf(folder).so_far).toMatchObject({ good: 6, of: 6 });
  });

  test('a good run without a metric leaves its line all the same, so that nothing is read again', async () => {
    const bench = tinyBench(tiny('repeats: 2'));
    await runFile(bench.file, {}, SILENT);
    expect(journalOf(foldersIn(bench)[0]).filter((e) => e.type === 'noted' && e.what === 'figures')).toHaveLength(2);
    expect(notedIn(foldersIn(bench)[0], 'so-far')).toEqual([]);
  });
});
