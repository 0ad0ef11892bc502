// Goal: a known mass at the start of a campaign tells whether the calibration of the load cell still holds; nothing turns when it does not.
// Method: whole sessions on the simulated rig, with a calibration that is right and one that is wrong; a pretended real bench for the person's part.
import fs from 'node:fs';
import path from 'node:path';
import type { NEVER} from 'rxjs';
import { Subject } from 'rxjs';
import { afterAll, expect, test } from 'vitest';
import { checkMass, checkMassRequests } from '../../src/app/check-mass';
import { BadInput } from '../../src/app/errors';
import type { Operator } from '../../src/app/operator';
import { prepareCampaign, type ReadyCampaign } from '../../src/app/prepare';
import { runFile } from '../../src/app/run-file';
import type { SampleBlock } from '../../src/model/sample';
import { cleanUp, SILENT } from './kit';
import { foldersIn, journalOf, notedIn, PretendedWorld, tiny, tinyBench, type Bench } from './unattended-kit';

afterAll(cleanUp);

const MASS: readonly [string, string] = ['limits:', 'check_mass: { mass: 100 g, within: 1 % }\nlimits:'];
const calibration = (slope: string): string => [
  'spoolbench: 1', 'calibration: thrust-x', 'rig: scout-stand', 'channel: thrust', 'date: "2026-01-01"', 'expires: "2099-01-01"', 'reference: { name: masses }',
  `law: { kind: linear, zero: 100000, slope: ${slope} }`, 'uncertainty: { gain: 0.1 % }', 'span: "0 N .. 3 N"', '',
].join('\n');
const bench = (slope: string): Bench => tinyBench(tiny('repeats: 1\n'), { rig: [MASS], files: { 'calibration/thrust-x.yaml': calibration(slope) } });

test('a mass that reads right is in the journal, and the campaign goes on', async () => {
  const b = bench('0.0005 N');
  const summary = await runFile(b.file, {}, SILENT);
  expect(summary).toMatchObject({ good: 1, stopped: null });
  const [{ data }] = notedIn(foldersIn(b)[0], 'check-mass');
  expect(data).toMatchObject({ mass_kg: 0.1, within: 0.01, simulated: true });
  expect(Math.abs(data.off as number)).toBeLessThan(0.01);
});

test('a calibration that is off by more than is accepted: named, with what to do, and nothing was started', async () => {
  const b = bench('0.00052 N');
  await expect(runFile(b.file, {}, SILENT)).rejects.toThrow(/Check mass: 100 g reads 10[34]\.\d+ gf, [34]\.\d+ % off \(accepted: 1 %\).*rig calibrate thrust/);
  expect(journalOf(foldersIn(b)[0]).some((e) => e.type === 'started')).toBe(false);
});

test('without a load cell there is nothing to put a mass on', () => {
  const lines = fs.readFileSync(path.join(import.meta.dirname, '../../demo/bench/rig.yaml'), 'utf8').split('\n');
  const thrust = lines.find((l) => l.startsWith('  thrust: { period'))!;
  const limits = lines.filter((l) => /^ {2}(thrust: \{ above|mismatch)/.test(l));
  expect(() => prepareCampaign(tinyBench(tiny('repeats: 1\n'), { rig: [MASS, [`${thrust}\n`, ''], ...limits.map((l) => [`${l}\n`, ''] as const)] }).file)).toThrow(/check_mass.*thrust is no channel/);
});

/** A real bench: the load cell shows what the person has put on it. */
class StandWorld extends PretendedWorld {
  private readonly subject = new Subject<SampleBlock>();
  override readonly blocks = this.subject.asObservable() as unknown as typeof NEVER;
  load_N = 0;
  constructor(private readonly ready: ReadyCampaign) {
    super();
  }

  override playUntil(done: () => boolean, within_s = 0): Promise<boolean> {
    const { channels } = this.ready;
    this.subject.next({
      rows: 10, tick_us: new Float64Array(10), throttle: new Uint16Array(10), state: new Uint8Array(10), ordinal: new Uint16Array(10), fresh: new Uint8Array(10).fill(255), valid: new Uint8Array(10).fill(255),
      counts: channels.map((c) => new Int32Array(10).fill(c.kind === 'thrust' ? 100_000 + Math.round(this.load_N / 0.0005) : 0)),
    });
    return super.playUntil(done, within_s);
  }
}

test('on a real bench a person is asked to put it on and to take it off; the output is off meanwhile and on afterwards', async () => {
  const twin = prepareCampaign(tinyBench(tiny('repeats: 1\n'), { rig: [MASS] }).file);
  const ready = { ...twin, rig: { ...twin.rig, link: { ...twin.rig.link, kind: 'serial' } } } as unknown as ReadyCampaign;
  expect(checkMassRequests(twin)).toEqual([]);
  expect(checkMassRequests(ready).map((r) => [r.condition, r.to])).toEqual([['check_mass', '100 g'], ['check_mass', 'nothing']]);
  const world = new StandWorld(ready);
  const seen: unknown[] = [];
  let mass_N = 0.0995 * 9.80665;
  const person: Operator = {
    lacks: () => [],
    hands: (r) => {
      seen.push([r.to, world.set.output]);
      world.load_N = r.to === 'nothing' ? 0 : mass_N;
      return Promise.resolve({ answers: {}, photo: null, notes: '' });
    },
    clear: () => Promise.resolve('clear'),
  };
  const { signal } = new AbortController();
  expect(await checkMass(ready, world, person, signal)).toMatchObject({ off: expect.closeTo(-0.005, 3) as number, simulated: false });
  expect(seen).toEqual([['100 g', false], ['nothing', false]]);
  expect(world.set.output).toBe(true);
  mass_N = 0.0985 * 9.80665;
  await expect(checkMass(ready, world, person, signal)).rejects.toThrow(BadInput);
  expect(await checkMass(ready, world, { ...person, hands: () => Promise.resolve('stop') }, signal)).toBe('stop');
});
