// Goal: re-mounts are part of the order: each mounting gets every repeat, says so in journal and record, and is found again after a break.
// Method: blips on the twin in two mountings, stopped and taken up again; the simulated rig's own factors of the mounting are looked at.
import fs from 'node:fs';
import path from 'node:path';
import { afterAll, describe, expect, test } from 'vitest';
import { campaignInput } from '../../src/app/campaign-input';
import { planFile } from '../../src/app/plan-file';
import type { ReadyCampaign } from '../../src/app/prepare';
import { statusOf } from '../../src/app/status';
import { TwinWorld } from '../../src/app/twin-world';
import { readRecord } from '../../src/record/file-reader';
import { cleanUp } from './kit';
import { foldersIn, journalOf, session, tiny, tinyBench, twinInput, type Bench } from './unattended-kit';

afterAll(cleanUp);

const TWO = tiny('factors: { switching_frequency: { levels: [22 kHz, 44 kHz], apply: rig } }\nrepeats: 2\norder: { seed: 3, mountings: 2 }');

/** A twin that notes the mounting of the simulated rig at each run, and stops after the run that is named. */
class Mounted extends TwinWorld {
  readonly factors: number[] = [];
  constructor(ready: ReadyCampaign, private readonly onRun: (n: number) => void = () => undefined) {
    super(twinInput(ready));
  }
  override beginRun(): void {
    super.beginRun();
    this.factors.push(this.simulated.drive.thrustFactor);
    this.onRun(this.factors.length);
  }
}

async function mounted(bench: Bench, options: Parameters<typeof session>[1] = {}, stopAt = Infinity) {
  const made: Mounted[] = [];
  let stop = (): void => undefined;
  const end = await session(bench, {
    ...options, begin: (ask) => { stop = () => { ask('stop-now'); }; },
    world: (ready) => { const world = new Mounted(ready, (n) => { if (n === stopAt) stop(); }); made.push(world); return world; },
  });
  return { end, factors: made[0].factors };
}

describe('two mountings', () => {
  const bench = tinyBench(TWO);

  test('are planned one after the other, each with every repeat of every setting', async () => {
    const plan = await planFile(bench.file);
    expect(plan.mountings).toEqual([{ mounting: 1, first: 1, last: 4 }, { mounting: 2, first: 5, last: 8 }]);
    for (const m of [1, 2]) expect(plan.runs.filter((r) => r.mounting === m).map((r) => `${r.setting.id} ${r.repeat}`).sort()).toEqual(plan.runs.slice(0, 4).map((r) => `${r.setting.id} ${r.repeat}`).sort());
    expect(plan.runs.flatMap((r) => r.changes.filter((c) => c.name === 'mounting_number').map((c) => [r.index, c.from, c.to]))).toEqual([[5, '1', '2']]);
  });

  test('are carried out on the simulated rig, noted in the journal, in the records and for the analysis', async () => {
    const { end, factors } = await mounted(bench);
    expect(end).toMatchObject({ good: 8, stopped: null });
    expect(new Set(factors.slice(0, 4)).size).toBe(1);
    expect(new Set(factors.slice(4)).size).toBe(1);
    expect(factors[4]).not.toBe(factors[0]);
    const [folder] = foldersIn(bench);
    expect(journalOf(folder).flatMap((e) => (e.type === 'changed' && e.conditions.mounting_number !== undefined ? [[e.run, e.conditions.mounting_number]] : []))).toEqual([[1, '1'], [5, '2']]);
    const headers = fs.readdirSync(path.join(folder, 'runs')).sort().map((f) => readRecord(path.join(folder, 'runs', f)).header?.campaign?.mounting);
    expect(headers).toEqual([1, 1, 1, 1, 2, 2, 2, 2]);
    expect(campaignInput(folder).runs.map((r) => r.mounting)).toEqual(headers);
    expect(statusOf(folder)).toMatchObject({ mountings: 2, state: 'complete' });
  });

  test.each([2, 5])('stopped after run %i and taken up again, each run is made in its own mounting, the same as before the break', async (at) => {
    const other = tinyBench(TWO);
    const whole = await mounted(tinyBench(TWO));
    const first = await mounted(other, {}, at);
    expect(first.end).toMatchObject({ good: at, stopped: 'stopped by the operator' });
    const second = await mounted(other, { resume: true });
    expect(second.end).toMatchObject({ good: 8, stopped: null });
    expect([...first.factors, ...second.factors]).toEqual(whole.factors);
  });
});

test('a skipped setting of a mounting that is gone cannot be tried again; of this mounting it can', async () => {
  const bench = tinyBench(TWO);
  await mounted(bench, {}, 2);
  const [folder] = foldersIn(bench);
  const journal = path.join(folder, 'journal.jsonl');
  fs.appendFileSync(journal, `${JSON.stringify({ type: 'decided', what: 'skip-setting', by: 'tool', run: 2, why: 'for the test' })}\n`);
  const before = fs.readFileSync(journal);
  expect((await mounted(bench, { resume: true })).end).toMatchObject({ good: 5, skipped: 3 });
  await expect(mounted(bench, { resume: true, trySkipped: true })).rejects.toThrow(/1 skipped runs, .* belong to mounting 1, and the article is in mounting 2/);
  fs.writeFileSync(journal, before);
  for (const f of fs.readdirSync(path.join(folder, 'runs')).filter((name) => Number(name.slice(0, 4)) > 2)) fs.rmSync(path.join(folder, 'runs', f));
  expect((await mounted(bench, { resume: true, trySkipped: true })).end).toMatchObject({ good: 8, skipped: 0 });
});
