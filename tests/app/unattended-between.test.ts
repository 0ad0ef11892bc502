// Goal: what happens between two runs: pre-warm, cooling, start checks, zeros, the supply, the environment; and what the plan, the status and the planner tell of it.
// Method: campaigns on the twin, whose true temperatures and supply are known; journal, records and texts are compared with them.
import fs from 'node:fs';
import path from 'node:path';
import { afterAll, describe, expect, test } from 'vitest';
import { CampaignFolder } from '../../src/app/campaign-folder';
import { planFile } from '../../src/app/plan-file';
import { prepareCampaign } from '../../src/app/prepare';
import { runFile } from '../../src/app/run-file';
import { statusOf } from '../../src/app/status';
import type { StiffnessNote } from '../../src/app/run-watch';
import { Stiffness, supplyProblem } from '../../src/app/supply-check';
import { TwinWorld } from '../../src/app/twin-world';
import { powerOfT } from '../../src/analysis/stats/sample-size';
import { readRecord } from '../../src/record/file-reader';
import { cleanUp, SILENT } from './kit';
import { foldersIn, journalOf, listening, notedIn, session, tiny, tinyBench, twinInput } from './unattended-kit';

afterAll(cleanUp);

describe('pre-warm and cooling', () => {
  test('a pre-warm is played before the first run and after long pauses only, and recorded', async () => {
    const bench = tinyBench(tiny('repeats: 3\nbetween_runs: { pre_warm: { throttle: 40 %, for: 3 s, after: 10 min }, rest: 2 s }'));
    expect(await session(bench)).toMatchObject({ good: 3 });
    const [folder] = foldersIn(bench);
    expect(notedIn(folder, 'pre-warm').map((n) => n.run)).toEqual([1]);
    const [file] = fs.readdirSync(path.join(folder, 'between'));
    expect(file).toBe('0001-blip-as-it-is.pre-warm-1.mcap');
    expect(readRecord(path.join(folder, 'between', file)).outcome?.outcome).toBe('done');
    const again = tinyBench(tiny('repeats: 3\nbetween_runs: { pre_warm: { throttle: 40 %, for: 3 s, after: 10 min }, rest: 601 s }'));
    await session(again);
    expect(notedIn(foldersIn(again)[0], 'pre-warm').map((n) => n.run)).toEqual([1]);
  });

  test('a run waits until the motor is back in its band, and how long that took is kept for the next plan', async () => {
    const bench = tinyBench(tiny('repeats: 2\nbetween_runs: { cool_until: { motor_temperature: 29 °C, within: 10 min } }', 'protocols: [thrust-curve]\n'));
    const before = (await planFile(bench.file)).estimate.bench_s;
    expect((await planFile(bench.file)).cooling).toMatchObject({ bound_s: 600, measured: null });
    await session(bench);
    const waits = notedIn(foldersIn(bench)[0], 'cooling').map((n) => n.data as { took_s: number; reached: boolean; motor_degC: number });
    expect(waits).toHaveLength(2);
    expect(waits[0].took_s).toBeLessThan(1);
    expect(waits[1].took_s).toBeGreaterThan(20);
    for (const w of waits) expect(w.reached && w.motor_degC <= 29).toBe(true);
    const plan = await planFile(bench.file);
    const mean = (waits[0].took_s + waits[1].took_s) / 2;
    expect(plan.cooling?.measured).toMatchObject({ runs: 2, folder: foldersIn(bench)[0] });
    expect(plan.cooling?.measured?.mean_s).toBeCloseTo(mean, 9);
    expect(plan.estimate.bench_s).toBeCloseTo(before + 2 * mean, 6);
  });

  test('the wait is bounded, and a run that begins warm says so', async () => {
    const bench = tinyBench(tiny('repeats: 2\nbetween_runs: { cool_until: { motor_temperature: 29 °C, within: 5 s } }', 'protocols: [thrust-curve]\n'));
    const words = listening();
    expect(await session(bench, { words })).toMatchObject({ good: 2 });
    expect(words.notes.join('\n')).toMatch(/Run 2 begins warm: after 5 s the motor is at \d+\.\d °C/);
    expect(notedIn(foldersIn(bench)[0], 'cooling')[1].data).toMatchObject({ reached: false });
    const [, second] = fs.readdirSync(path.join(foldersIn(bench)[0], 'runs'));
    const said = readRecord(path.join(foldersIn(bench)[0], 'runs', second)).attachments.find((a) => a.name === 'before-run.json');
    expect(JSON.parse(new TextDecoder().decode(said?.data))).toMatchObject({ cooling: { reached: false } });
  });
});

describe('a start check', () => {
  const check = 'between_runs: { rest: 1 s, start_check: { throttle: 30 %, for: 1 s, within: 3 % } }';
  test('compares each run with the first, also after a break', async () => {
    const bench = tinyBench(tiny(`repeats: 3\n${check}`));
    expect(await session(bench)).toMatchObject({ good: 3 });
    const notes = notedIn(foldersIn(bench)[0], 'start-check').map((n) => n.data as { off: number; reached: boolean; current_A: number });
    expect(notes).toHaveLength(3);
    expect(notes[0].off).toBe(0);
    for (const n of notes) {
      expect(n.reached).toBe(true);
      expect(n.off).toBeCloseTo(n.current_A / notes[0].current_A - 1, 12);
    }
  });

  test('that finds another state rests and checks again, a bounded number of times, then goes on and says so', async () => {
    const bench = tinyBench(tiny(`repeats: 2\n${check}`));
    const words = listening();
    // From the second run on the bearing is rough, so the current never comes back to the first one's.
    class Rough extends TwinWorld {
      override endRun(): void {
        super.endRun();
        this.simulated.inject({ kind: 'scale-friction', factor: 4 }, this.simulated.now_us);
      }
    }
    await session(bench, { words, world: (ready) => new Rough(twinInput(ready)) });
    const checks = notedIn(foldersIn(bench)[0], 'start-check').filter((n) => n.run === 2).map((n) => n.data);
    expect(checks).toHaveLength(6);
    expect(checks.at(-1)).toMatchObject({ reached: false, checks: 6 });
    expect(words.notes.join('\n')).toMatch(/Run 2 begins in another state: after 6 start checks the current is \d+\.\d % from the first one/);
  });
});

describe('zeros, supply, environment', () => {
  test("the load cell's zero is taken before and after each run, and its drift across runs kept", async () => {
    const bench = tinyBench(tiny('repeats: 3\nbetween_runs: { zero: 500 ms }'));
    await session(bench);
    const zeros = notedIn(foldersIn(bench)[0], 'zero').map((n) => n.data as { before_N: number; after_N: number; drift_N: number; since_first_N: number | null });
    expect(zeros).toHaveLength(3);
    expect(zeros[0].since_first_N).toBeNull();
    for (const z of zeros) expect(z.drift_N).toBeCloseTo(z.after_N - z.before_N, 12);
    expect(zeros[2].since_first_N).toBeCloseTo(zeros[2].before_N - zeros[0].before_N, 12);
    for (const z of zeros) expect(Math.abs(z.before_N)).toBeLessThan(0.05);
  });

  test('the stiffness of the supply is near the leads and the source of the simulated rig', async () => {
    const bench = tinyBench(tiny('repeats: 1', 'protocols: [thrust-curve]\n'));
    await session(bench);
    // The rig file's leads; the simulated supply and battery add a few milliohms behind them.
    const leads_ohm = prepareCampaign(bench.file).rig.lead_resistance_ohm;
    const [{ data }] = notedIn(foldersIn(bench)[0], 'supply');
    expect(data.source_ohm).toBeGreaterThan(leads_ohm);
    expect(data.source_ohm).toBeLessThan(leads_ohm + 0.03);
    expect(data.peak_A).toBeGreaterThan(3);
  });

  test('a supply away from its voltage stops before the next run; one within the tolerance does not', () => {
    const { rig } = prepareCampaign(tinyBench(tiny('repeats: 1')).file);
    expect(supplyProblem(7.6 * 1.0499, 7.6, rig)).toBeNull();
    expect(supplyProblem(7.6 * 1.0501, 7.6, rig)).toMatch(/The bus stands at 7\.98\d V at rest, 5\.0 % from the 7\.6 V that were set/);
    expect(supplyProblem(7.6 * 0.9499, 7.6, rig)).not.toBeNull();
    expect(supplyProblem(null, 7.6, rig)).toBeNull();
  });

  test('a lead that works loose is noticed by its protocol', () => {
    const s = new Stiffness();
    expect(s.take('kv', note({ source_ohm: 0.03 }))).toEqual([]);
    expect(s.take('kv', note({ source_ohm: 0.0449 }))).toEqual([]);
    expect(s.take('kv', note({ source_ohm: 0.0451 }))).toEqual([expect.stringMatching(/45 mΩ in this run, 30 mΩ in the first kv/)]);
    expect(s.take('hold', note({ source_ohm: 0.09 }))).toEqual([]);
    expect(s.take('hold', note({ source_ohm: null }))).toEqual([]);
  });

  test('a bus that dips too far under load, or rises past the sink when braking, is told once a protocol', () => {
    const s = new Stiffness(8.6);
    expect(s.take('steps', note({ rest_V: 7.6, dip_V: 0.76, peak_A: 12 }))).toEqual([]);
    expect(s.take('steps', note({ rest_V: 7.6, dip_V: 0.77, peak_A: 12 }))).toEqual([expect.stringMatching(/dipped by 0.77 V \(10.1 %\) at 12.0 A in steps/)]);
    expect(s.take('steps', note({ rest_V: 7.6, dip_V: 0.77, peak_A: 12 }))).toEqual([]);
    expect(s.take('steps', note({ highest_V: 8.6, rise_V: 1 }))).toEqual([]);
    expect(s.take('steps', note({ highest_V: 8.61, rise_V: 1.01 }))).toEqual([expect.stringMatching(/raised the bus to 8.61 V, 1.01 V above rest.*hold 8.6 V/)]);
    expect(new Stiffness().take('steps', note({ highest_V: 20, rise_V: 12 }))).toEqual([]);
  });

  test('a supply at its current limit is told of every run', () => {
    const s = new Stiffness();
    for (let run = 0; run < 2; run++) expect(s.take('kv', note({ limiting_rows: 40, limiting_s: 0.04 }))).toEqual([expect.stringMatching(/40 rows \(40 ms\)/)]);
  });

  test('meters of the supply count too: another voltage than was set, or its limit while nothing turns', () => {
    const { rig } = prepareCampaign(tinyBench(tiny('repeats: 1')).file);
    const meters = (voltage_V: number, current_A = 0.02, limiting = false) => ({ voltage_V, current_A, limiting });
    expect(supplyProblem(7.6, 7.6, rig, meters(7.6 * 1.0499))).toBeNull();
    expect(supplyProblem(7.6, 7.6, rig, meters(7.6 * 1.0501))).toMatch(/measures 7.981 V itself, 5.0 % off/);
    expect(supplyProblem(7.6, 7.6, rig, meters(0.4, 15))).toMatch(/current limit while nothing turns/);
    expect(supplyProblem(7.6, 7.6, rig, meters(7.6, 0.02, true))).toMatch(/current limit while nothing turns/);
    expect(supplyProblem(7, 7.6, rig, meters(7.6))).toMatch(/bus stands at 7.000 V.*supply itself measures 7.600 V/);
  });

  test('the environment that the rig file states is in the journal and in each record', async () => {
    const bench = tinyBench(tiny('repeats: 2'), { rig: [['limits:', 'environment: { temperature: 21 °C, pressure: 1008 hPa, humidity: 45 % }\nlimits:']] });
    await session(bench);
    expect(notedIn(foldersIn(bench)[0], 'environment')).toEqual([{ run: 1, data: { temperature_degC: 21, pressure_Pa: 100_800, humidity: 0.45 } }]);
  });
});

const note = (more: Partial<StiffnessNote>): StiffnessNote => ({
  highest_V: 7.6, lowest_V: 7, peak_A: 5, source_ohm: null, rest_V: 7.6, dip_V: 0, rise_V: 0, limiting_rows: 0, limiting_s: 0, ...more,
});

describe('designs', () => {
  const factors = 'factors: { switching_frequency: { levels: [22 kHz, 44 kHz], apply: rig }, timing_advance: { levels: [0 deg, 8 deg, 16 deg], apply: rig } }\nrepeats: 1\n';
  const settingsOf = async (more: string): Promise<string[]> => {
    const bench = tinyBench(tiny(factors + more));
    await session(bench);
    return journalOf(foldersIn(bench)[0]).flatMap((e) => (e.type === 'started' ? [e.record?.replace(/.*\d{4}-/, '').replace('.mcap', '') ?? ''] : []));
  };
  test('listed points are run and nothing else', async () => {
    const made = await settingsOf('order: { plan: { kind: points, points: [{ switching_frequency: 22 kHz, timing_advance: 16 deg }, { switching_frequency: 44 kHz, timing_advance: 0 deg }] } }');
    expect(made.sort()).toEqual(['blip-switching_frequency-22kHz_timing_advance-16deg', 'blip-switching_frequency-44kHz_timing_advance-0deg']);
  });
  test('one factor at a time: the baseline and each other level alone', async () => {
    const made = await settingsOf('order: { plan: { kind: one-at-a-time }, baseline: { switching_frequency: 44 kHz, timing_advance: 8 deg } }');
    expect(made.map((m) => m.replace('blip-switching_frequency-', '')).sort()).toEqual(['22kHz_timing_advance-8deg', '44kHz_timing_advance-0deg', '44kHz_timing_advance-16deg', '44kHz_timing_advance-8deg']);
  });
  test('a baseline every three runs comes first and after each third run', async () => {
    const made = await settingsOf('order: { baseline: { switching_frequency: 44 kHz, timing_advance: 8 deg }, baseline_every: 3 }');
    expect(made.map((m, i) => (m.startsWith('baseline') ? i : -1)).filter((i) => i >= 0)).toEqual([0, 4, 8]);
    expect(made.filter((m) => m.startsWith('baseline'))).toEqual(Array(3).fill('baseline-blip-switching_frequency-44kHz_timing_advance-8deg'));
  });
  test('levels that the rig cannot reach are refused where they stand, whoever sets them', async () => {
    for (const apply of ['rig', 'operator, checklist: [Flash it]']) {
      const bench = tinyBench(tiny(`factors: { timing_advance: { levels: [8 deg, 90 deg], apply: ${apply} } }`));
      await expect(runFile(bench.file, {}, SILENT)).rejects.toThrow(/tiny\.yaml:6:\d+ factors\.timing_advance\.levels\.1: .*; accepted: /);
    }
  });
  test('a supply factor sets the voltage of the simulated supply', async () => {
    const bench = tinyBench(tiny('factors: { bus: { levels: [6 V, 7.6 V], apply: supply } }\norder: { shuffle: none }\nrepeats: 1'));
    expect(await session(bench)).toMatchObject({ good: 2, stopped: null });
    const peaks = notedIn(foldersIn(bench)[0], 'supply').map((n) => Number(n.data.highest_V));
    expect(peaks[0]).toBeGreaterThan(5.9);
    expect(peaks[0]).toBeLessThan(6.1);
    expect(peaks[1]).toBeGreaterThan(7.5);
  });
  test('a battery beside the supply that holds the bus elsewhere is noticed before anything turns', async () => {
    // Set 8 % below its battery, the simulated bench keeps the battery on the bus, as a real one would.
    const bench = tinyBench(tiny('factors: { bus: { levels: [7 V], apply: supply } }\nrepeats: 1'));
    const end = await session(bench);
    expect(end).toMatchObject({ good: 0, outcomes: [] });
    expect(end.stopped).toMatch(/The bus stands at 7\.6\d* V at rest, 8\.6 % from the 7 V that were set/);
  });
});

test('a plan that does not fit on the disk is refused with both numbers, and nothing is made', async () => {
  const bench = tinyBench(tiny('repeats: 1000\nfactors: { timing_advance: { levels: [0 deg, 1 deg, 2 deg, 3 deg, 4 deg, 5 deg, 6 deg, 7 deg, 8 deg, 9 deg, 10 deg, 11 deg, 12 deg, 13 deg, 14 deg, 15 deg], apply: rig } }', 'protocols: [{ soak: { hold: 500 s, cool: 60 s } }]\n'));
  const free = fs.statfsSync(bench.folder);
  const plan = prepareCampaign(bench.file).plan.estimate.disk_bytes;
  if (plan < free.bavail * free.bsize) throw new Error('this machine has so large a disk that the test proves nothing: make the plan longer');
  await expect(runFile(bench.file, {}, SILENT)).rejects.toThrow(/the plan needs about \d+ MB, \d+ MB are free; make room or name another place/);
  expect(foldersIn(bench)).toEqual([]);
});

describe('status', () => {
  test('tells runs, state, hands and figures while it runs and after, without a lock', async () => {
    const bench = tinyBench(tiny('factors: { motor: { levels: [a, b], apply: operator, takes: 5 min, checklist: [Swap it] } }\nrepeats: 2\norder: { seed: 5 }', 'protocols: [thrust-curve]\n'));
    const seen: ReturnType<typeof statusOf>[] = [];
    const operator = { lacks: () => [], clear: () => Promise.resolve('clear' as const), hands: () => {
      seen.push(statusOf(foldersIn(bench)[0]));
      return Promise.resolve(seen.length === 2 ? ('stop' as const) : { answers: {}, photo: null, notes: '' });
    } };
    const end = await runFile(bench.file, { operator: () => operator }, SILENT);
    expect(end.good).toBe(2);
    expect(seen[0]).toMatchObject({ state: 'waiting for hands', process: process.pid, good: 0, of: 4, run: { index: 1 }, next_hands: { run: 1 } });
    expect(seen[1]).toMatchObject({ state: 'waiting for hands', good: 2, run: { index: 3 }, outcomes: { done: 2 } });
    const after = statusOf(foldersIn(bench)[0]);
    expect(after).toMatchObject({ state: 'held', process: null, why: 'stopped by the operator', good: 2 });
    const made = after.settings.find((s) => s.good === 2);
    expect(made?.figures.full_throttle_rpm).toMatchObject({ repeats: 2, unit: 'rpm' });
    expect(made?.figures.full_throttle_rpm?.mean).toBeGreaterThan(20_000);
    // Two runs and five minutes of hands are left.
    expect(after.left_s).toBeGreaterThan(300 + 2 * 12);
    expect(after.left_s).toBeLessThan(300 + 2 * 25);
  });

  test('of a run that is under way does not call it cut off', async () => {
    const bench = tinyBench(tiny('repeats: 2'));
    const seen: ReturnType<typeof statusOf>[] = [];
    await session(bench, { words: { ...listening(), reporter: { ...SILENT, runStarted: () => seen.push(statusOf(foldersIn(bench)[0])) } } });
    expect(seen.map((s) => [s.state, s.run?.index, s.outcomes])).toEqual([['running', 1, {}], ['running', 2, { done: 1 }]]);
  });

  test('of a campaign whose process is gone says interrupted; of another folder it says what is wanted', () => {
    const bench = tinyBench(tiny('repeats: 2'));
    CampaignFolder.start(bench.records, prepareCampaign(bench.file)).close();
    fs.writeFileSync(path.join(foldersIn(bench)[0], '.in-use'), '999999999 1');
    expect(statusOf(foldersIn(bench)[0])).toMatchObject({ state: 'interrupted', process: null, good: 0 });
    expect(() => statusOf(bench.folder)).toThrow(/this is no campaign folder/);
  });
});

describe('plan --detect', () => {
  test('counts repeats from the spread of an earlier campaign, with the power asked for', async () => {
    const bench = tinyBench(tiny('factors: { timing_advance: { levels: [8 deg, 16 deg], apply: rig } }\nrepeats: 4\nmargins: { full_throttle_thrust_N: 1 mN }', 'protocols: [thrust-curve]\n'));
    await expect(planFile(bench.file, { detect: '2 %' })).rejects.toThrow(/no repeats have been measured there/);
    await runFile(bench.file, {}, SILENT);
    const { detect } = await planFile(bench.file, { detect: 'margins' });
    expect(detect).toMatchObject({ settings: 2, comparisons: 1, repeats: 4 });
    const [line] = detect?.lines ?? [];
    expect(line).toMatchObject({ metric: 'full_throttle_thrust_N', spread: { df: 6 }, margin: { relative: false, value: 0.001 } });
    if (!line.difference.ok) throw new Error(line.difference.why);
    // The analysis has a power of its own (both tails of the noncentral t): the answer is the least number that reaches it.
    const n = line.difference.repeats;
    expect(powerOfT(n, 0.001, line.spread.sd)).toBeGreaterThanOrEqual(0.8);
    if (n > 2) expect(powerOfT(n - 1, 0.001, line.spread.sd)).toBeLessThan(0.8);
    const share = await planFile(bench.file, { detect: '2 %' });
    expect(share.detect?.lines.map((l) => l.metric)).toEqual(['full_throttle_thrust_N']);
    await expect(planFile(bench.file, { detect: '2 rpm' })).rejects.toThrow(/--detect 2 rpm: .*accepted: a share such as "2 %"/);
  });
});
