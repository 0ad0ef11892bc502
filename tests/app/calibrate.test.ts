// Goal: a calibration takes the gain error of a rig away, to within the uncertainty that it states; it can be interrupted; what is wrong is refused by name.
// Method: whole calibrations on the simulated rig, whose drawn errors are known here and nowhere else; a guide that stops; files edited by hand.
import fs from 'node:fs';
import path from 'node:path';
import { afterAll, describe, expect, test } from 'vitest';
import { calibrate, type CalibrateOptions, type Calibrated, type Guide } from '../../src/app/calibrate/calibrate';
import { evaluate, type TakenPoint } from '../../src/app/calibrate/evaluate';
import { answeredGuide, NOBODY_CALIBRATES } from '../../src/app/calibrate/guides';
import { readTargets, stepsFor, usualTargets, type Target } from '../../src/app/calibrate/plan';
import { CalibrationState } from '../../src/app/calibrate/state';
import type { BadInput } from '../../src/app/errors';
import { loadBench } from '../../src/app/bench-folder';
import { prepareCampaign } from '../../src/app/prepare';
import { channelFacts } from '../../src/model/channel-facts';
import { loadFile } from '../../src/model/load';
import { twinParameters } from '../../src/twin/configure';
import { SimulatedRig } from '../../src/twin/physics';
import { benchFolder, cleanUp, play, tempFolder } from './kit';
import { HOLD } from './scenes';

afterAll(cleanUp);

const U = 5e-4;
const options = (bench: string, more: Partial<CalibrateOptions> = {}): CalibrateOptions => ({
  bench, guide: NOBODY_CALIBRATES, note: () => undefined, reference: 'simulated reference', u_reference: U, read_s: 1, creep_s: 20, ...more,
});
const seeded = (seed: number): string => benchFolder({ rig: [['seed: 1 }', `seed: ${seed} }`]] });

async function calibrated(channel: Target, bench: string, more: Partial<CalibrateOptions> = {}): Promise<Calibrated> {
  return await calibrate(channel, options(bench, more));
}

/** What one count is truly worth: the drawn gain error of the simulated converter, known to the grader only. */
function trueGain(bench: string, channel: 'thrust' | 'current' | 'voltage' | 'speed'): number {
  const files = loadBench(bench);
  const rig = files.rig.usable!;
  const link = rig.link.kind === 'twin' ? rig.link : null;
  const sim = new SimulatedRig(twinParameters(rig, files.article.usable!), { seed: link!.seed });
  const error = sim.converters[{ current: 0, voltage: 1, speed: 2, thrust: 3 }[channel]].gainError;
  if (channel === 'speed') return 1 + error; // the period reads long by the error: the true speed is higher than shown
  return rig.channels.find((c) => c.kind === channel)!.gain / (1 + error);
}

const SEEDS = Array.from({ length: 16 }, (_, i) => i + 1);

describe('the gain error is gone afterwards, to within the stated uncertainty', () => {
  test.each(['current', 'voltage', 'speed'] as const)('%s', async (channel) => {
    const z: number[] = [];
    const before: number[] = [];
    for (const seed of SEEDS) {
      const bench = seeded(seed);
      const { result } = await calibrated(channel, bench, { read_s: 0.3 });
      const truth = trueGain(bench, channel);
      const found = result!.law.kind === 'factor' ? result!.law.factor : result!.law.kind === 'linear' ? result!.law.slope : NaN;
      z.push((found / truth - 1) / result!.u_gain);
      before.push(channel === 'speed' ? truth - 1 : loadBench(bench).rig.usable!.channels.find((c) => c.kind === channel)!.gain / truth - 1);
    }
    expect(rms(before), 'there was an error to take away').toBeGreaterThan(channel === 'speed' ? 1e-4 : 7e-4);
    // 16 unit normals: the rms lies within 0.47 .. 1.5 with 99.9 % (chi-square with 16 degrees of freedom).
    expect(rms(z), z.map((v) => v.toFixed(1)).join(' ')).toBeLessThan(1.6);
    expect(rms(z)).toBeGreaterThan(0.4);
  });

  test('thrust, with its hysteresis and creep', async () => {
    const z: number[] = [];
    const before: number[] = [];
    for (const seed of SEEDS.slice(0, 10)) {
      const folder = seeded(seed);
      const { result } = await calibrated('thrust', folder);
      const truth = trueGain(folder, 'thrust');
      const { law } = result!;
      if (law.kind !== 'linear' && law.kind !== 'quadratic') throw new Error(law.kind);
      expect(result!.u_gain).toBeLessThan(0.0015);
      const middle_counts = 1.5 / truth;
      z.push(((law.slope + law.curve * middle_counts) / truth - 1) / result!.u_gain);
      before.push(0.0005 / truth - 1);
    }
    expect(rms(before)).toBeGreaterThan(1.5e-3);
    expect(rms(z), z.map((v) => v.toFixed(1)).join(' ')).toBeLessThan(1.7);
  });

  test('temperatures and leads: zero error and resistance are recovered', async () => {
    for (const seed of [1, 2, 3]) {
      const bench = seeded(seed);
      const t = (await calibrated('motor_temperature', bench, { read_s: 5 })).result!;
      const files = loadBench(bench);
      const sim = new SimulatedRig(twinParameters(files.rig.usable!, files.article.usable!), { seed });
      const [, , , , motor] = sim.converters;
      // counts = (T·(1 + gain error) + offset error) / 0.0625 K
      const counts = (60 * (1 + motor.gainError) + motor.offsetError) / 0.0625;
      if (t.law.kind !== 'linear') throw new Error(t.law.kind);
      const x = counts - t.law.zero;
      expect(Math.abs(t.law.offset + t.law.slope * x - 60)).toBeLessThan(3 * Math.hypot(t.u_offset, 60 * t.u_gain));
      const leads = (await calibrated('lead_resistance', bench)).result!;
      if (leads.law.kind !== 'constant') throw new Error(leads.law.kind);
      expect(Math.abs(leads.law.value / 0.005 - 1)).toBeLessThan(3 * leads.u_gain);
    }
  });

  test('a run after it measures by the calibration, and its record says so', async () => {
    const bench = seeded(3);
    const { result, file } = await calibrated('voltage', bench, { points: '2 V, 5 V, 7 V, 10 V', read_s: 1 });
    const text = fs.readFileSync(file!, 'utf8');
    const played = await play('protocols/scene.yaml', { rig: [['seed: 1 }', 'seed: 3 }']], files: { 'protocols/scene.yaml': HOLD, 'calibration/voltage.yaml': text } });
    const fact = played.record.header!.channels.find((c) => c.kind === 'voltage')!;
    expect(fact.u_gain).toBeCloseTo(result!.u_gain, 6);
    expect(fact.conversion).toMatchObject({ law: 'linear', c1: result!.law.kind === 'linear' ? (expect.closeTo(result!.law.slope, 12) as number) : null });
    expect(played.record.header!.calibration).toHaveProperty('voltage');
    expect(played.result.outcome.outcome).toBe('done');
    const meta = loadFile('calibration', 'x.yaml', text).value!;
    expect(meta.points).toHaveLength(7);
    expect(channelFacts(played.ready.rig, [meta]).find((c) => c.kind === 'voltage')!.u_offset).toBe(meta.u_offset);
  });
});

function rms(values: readonly number[]): number {
  return Math.sqrt(values.reduce((s, v) => s + v * v, 0) / values.length);
}

/** A real rig, whose board nobody asks: leads need none. */
const REAL: readonly (readonly [string, string])[] = [['link: { kind: twin, twin: scout, seed: 1 }', 'link: { kind: serial, port: /dev/none }'], ['supply: { kind: twin, voltage', 'supply: { kind: manual, voltage']];
const LEADS = '3 A, 6 A, 9 A, 12 A';

describe('guided, and resumable', () => {
  const meter = (stopAt: number, asked: string[]): Guide => {
    let n = 0;
    return {
      lacks: () => [],
      apply: (step) => {
        asked.push(step.id);
        return Promise.resolve(n++ === stopAt ? 'stop' : 0.008 * step.target * (1 + 1e-3 * (n % 2)));
      },
    };
  };

  test('stopped in the middle, it goes on where it was left, and asks for nothing twice', async () => {
    const bench = benchFolder({ rig: REAL });
    const asked: string[] = [];
    const first = await calibrated('lead_resistance', bench, { points: LEADS, guide: meter(2, asked) });
    expect(first).toMatchObject({ file: null, done: 2, steps: 4, simulated: false });
    const notes: string[] = [];
    const second = await calibrated('lead_resistance', bench, { points: LEADS, guide: meter(99, asked), note: (t) => notes.push(t) });
    expect(asked).toEqual(['up 3 A', 'up 6 A', 'up 9 A', 'up 9 A', 'up 12 A']);
    expect(notes[0]).toMatch(/2 of 4 steps are there/);
    expect(second.file).not.toBeNull();
    expect(fs.readdirSync(path.join(bench, 'calibration')).filter((f) => f.startsWith('unfinished'))).toEqual([]);
  });

  test('other points do not belong to it; --restart forgets it; a line that was cut off is taken again', async () => {
    const bench = benchFolder({ rig: REAL });
    await calibrated('lead_resistance', bench, { points: LEADS, guide: meter(2, []) });
    await expect(calibrated('lead_resistance', bench, { points: '3 A, 6 A', guide: meter(9, []) })).rejects.toThrow(/unfinished calibration.*--restart/);
    fs.appendFileSync(path.join(bench, 'calibration/unfinished-lead_resistance.jsonl'), '{"id":"up 9 A","app');
    const asked: string[] = [];
    await calibrated('lead_resistance', bench, { points: LEADS, guide: meter(0, asked) });
    expect(asked).toEqual(['up 9 A']);
    expect((await calibrated('lead_resistance', bench, { points: '3 A, 6 A', guide: meter(9, []), restart: true })).file).not.toBeNull();
  });

  test('a second calibration of a day overwrites nothing', async () => {
    const bench = seeded(1);
    const a = await calibrated('lead_resistance', bench);
    const b = await calibrated('lead_resistance', bench);
    expect(b.file).not.toBe(a.file);
    expect(b.file).toMatch(/-2\.yaml$/);
  });

  test('without a terminal a file of answers serves; what it lacks is listed before anything is asked', async () => {
    const bench = benchFolder({ rig: REAL });
    const answers = (lines: string): string => {
      const at = path.join(tempFolder(), 'answers.yaml');
      fs.writeFileSync(at, `spoolbench: 1\nanswers: calibrate-lead-resistance\nhands:\n${lines}`);
      return at;
    };
    const entry = (to: string, reading: string): string => `  - { change: lead_resistance, to: "${to}", checklist: done, answers: { reading: "${reading}" } }\n`;
    const whole = answers(entry('up 3 A', '24 mV') + entry('up 6 A', '48.1 mV'));
    const done = await calibrated('lead_resistance', bench, { points: '3 A, 6 A', guide: answeredGuide(whole, 'lead_resistance') });
    expect(done.result!.law).toEqual({ kind: 'constant', value: expect.closeTo((0.008 + 0.0481 / 6) / 2, 9) as number });
    const lacking = answers(entry('up 3 A', '24 A'));
    const refused = calibrated('lead_resistance', bench, { points: '3 A, 6 A', guide: answeredGuide(lacking, 'lead_resistance') });
    await expect(refused).rejects.toThrow(/up 3 A: reading: "24 A" is a current[\s\S]*up 6 A: no entry/);
    expect(() => answeredGuide(whole, 'thrust')).toThrow(/answers for calibrate-lead-resistance, not for calibrate-thrust/);
    await expect(calibrated('lead_resistance', bench, { guide: NOBODY_CALIBRATES })).rejects.toThrow(/A person is needed[\s\S]*--answers FILE/);
  });

  test('leads that cannot be copper of that gauge are told', async () => {
    const notes: string[] = [];
    const note = (t: string): void => { notes.push(t); };
    await calibrated('lead_resistance', seeded(1), { leads: { gauge: 14, length_m: 0.25 }, note });
    expect(notes).toEqual([]);
    await calibrated('lead_resistance', seeded(1), { leads: { gauge: 24, length_m: 0.25 }, note });
    expect(notes.join()).toMatch(/AWG 24/);
  });
});

describe('refused by name', () => {
  const points = (f: (x: number) => number, n = 5): TakenPoint[] => Array.from({ length: n }, (_, i) => ({ id: `p${i}`, applied: i / 2, direction: 'up', counts: f(i / 2), sd: null }));
  const rig = loadBench(benchFolder()).rig.usable!;
  const input = (channel: Target, taken: readonly TakenPoint[]) => evaluate({ channel, points: taken, creep: null, u_reference: 0, law: 'linear', declared: rig.channels.find((c) => c.kind === channel) ?? null });

  test('a saturated or dead sensor, a nonsense gain, a channel that the rig lacks, too few points', () => {
    expect(input('thrust', points(() => 8_000_000))).toMatch(/do not determine|hardly follow|different x/);
    expect(input('thrust', points((x) => 100_000 + x * 2000))).toMatchObject({ law: { kind: 'linear' } });
    expect(input('thrust', points((x) => 100_000 + x * 2000 * 6))).toMatch(/cannot be the same sensor/);
    expect(input('current', points((x) => 32_768 - x * 800))).toMatch(/cannot be the same sensor/);
    // A load cell may be mounted the other way round; a current or voltage channel may not.
    expect(input('thrust', points((x) => 100_000 - x * 2000))).toMatchObject({ law: { slope: expect.closeTo(-0.0005, 9) as number } });
    const scattered = points((x) => Math.min(103_000, 100_000 + x * 2000)).map((p) => ({ ...p, sd: p.counts === 103_000 ? 0 : 2 }));
    expect(input('thrust', scattered)).toMatch(/end of its range/);
    expect(input('thrust', points((x) => 100_000 + x * 2000).map((p) => ({ ...p, sd: 2 })))).toMatchObject({ law: { kind: 'linear' } });
    expect(input('thrust', points((x) => 100_000 + x * 2000, 3))).toMatch(/3 points/);
    expect(input('speed', points(() => 0, 3))).toMatch(/showed nothing/);
  });

  test('a converter at the end of its range while it is calibrated; the points are kept', async () => {
    await expect(calibrated('current', seeded(1), { points: '0 A, 10 A, 20 A, 30 A, 44 A', read_s: 0.2 })).rejects.toThrow(/up 44 A: the reading stands still.*end of its range.*points are kept/);
  });

  test('a reference without an uncertainty counts as exact, and that is told; one with it says nothing', async () => {
    const told = async (u_reference: number): Promise<string> => {
      const notes: string[] = [];
      await calibrated('voltage', seeded(1), { u_reference, points: '2 V, 4 V, 6 V, 8 V', read_s: 0.2, note: (text) => notes.push(text) });
      return notes.join(' ');
    };
    expect(await told(0)).toMatch(/No uncertainty of the reference was given \(--u\)/);
    expect(await told(1e-4)).not.toMatch(/--u/);
  });

  test('a channel that is not there, points of another unit, one point alone', async () => {
    const bench = seeded(1);
    await expect(calibrated('torque', bench)).rejects.toThrow(/torque: the rig file declares no such channel/);
    await expect(calibrated('current', bench, { points: '1 V, 2 V' })).rejects.toThrow(/--points.*voltage, not/);
    await expect(calibrated('current', bench, { points: '1 A' })).rejects.toThrow(/two different points/);
  });

  test('one of another rig, one that has expired, and one whose span a limit leaves', () => {
    const file = (more: { rig?: string; expires?: string; span?: string }): string => [
      'spoolbench: 1', 'calibration: thrust-old', `rig: ${more.rig ?? 'scout-stand'}`, 'channel: thrust', 'date: "2026-01-01"', `expires: "${more.expires ?? '2099-01-01'}"`,
      'reference: { name: masses }', 'law: { kind: linear, slope: 0.0005 N }', 'uncertainty: { gain: 0.1 % }', `span: "${more.span ?? '0 N .. 3 N'}"`, '',
    ].join('\n');
    const said = (more: Parameters<typeof file>[0]): string => {
      try {
        prepareCampaign('thrust-curve', { bench: benchFolder({ files: { 'calibration/thrust-old.yaml': file(more) } }) });
        return '';
      } catch (error) {
        return (error as BadInput).lines.join('\n');
      }
    };
    expect(said({})).toBe('');
    expect(said({ rig: 'other-stand' })).toMatch(/belongs to other-stand, this rig is scout-stand/);
    expect(said({ expires: '2026-01-02' })).toMatch(/expired on 2026-01-02.*calibrate the channel again/);
    expect(said({ span: '0 N .. 2 N' })).toMatch(/outside what the calibration of thrust covers/);
  });
});

describe('which points', () => {
  const rig = loadBench(benchFolder()).rig.usable!;

  test('masses go up, are watched for creep, and come down again, with a zero at both ends', () => {
    const steps = stepsFor('thrust', readTargets('thrust', '50 g, 100 g'));
    expect(steps.map((s) => s.id)).toEqual(['up 0 gf', 'up 50 gf', 'up 100 gf', 'creep 100 gf', 'down 50 gf', 'down 0 gf']);
    expect(steps.every((s) => s.asks === null)).toBe(true);
    expect(steps[1].target).toBeCloseTo(0.05 * 9.80665, 12);
  });

  test('meters are read, temperatures go one way, and the usual points cover the limits of the rig', () => {
    expect(stepsFor('current', [1, 2]).map((s) => s.id)).toEqual(['up 1 A', 'up 2 A', 'down 1 A']);
    expect(stepsFor('motor_temperature', [0, 50]).map((s) => s.direction)).toEqual(['up', 'up']);
    expect(Math.max(...usualTargets('thrust', rig))).toBeGreaterThan(rig.limits.thrust!.above_N);
    expect(Math.max(...usualTargets('current', rig))).toBeGreaterThan(rig.limits.current_peak.above_A);
    expect(Math.max(...usualTargets('speed', rig))).toBeGreaterThan(rig.limits.speed!.above_rpm);
  });

  test('points of another day are not mixed in', () => {
    const folder = tempFolder();
    const begun = { rig: 'r', channel: 'thrust' as const, steps: ['a'], reference: 'm', u_reference: 0, date: '2026-03-01' };
    CalibrationState.open(folder, begun, false).leave();
    expect(() => CalibrationState.open(folder, { ...begun, date: '2026-03-02' }, false)).toThrow(/of different days/);
    CalibrationState.open(folder, begun, false).leave();
  });
});
