// Goal: each thing that the first spin and the hard steps of a rig check look for is found, and told with what to do; what is sound passes.
// Method: one spin with the propeller and one without on the simulated rig; then one thing bent at a time, on both sides of its boundary.
import fs from 'node:fs';
import path from 'node:path';
import { Subject } from 'rxjs';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { segmentMean } from '../../src/analysis/commissioning/spin';
import { withRole, type RunData } from '../../src/analysis/run-data';
import { loadBench } from '../../src/app/bench-folder';
import { spinFindings, thrustFindings } from '../../src/app/rig-check/findings-spin';
import { stiffnessFinding } from '../../src/app/rig-check/findings-supply';
import { restFindings } from '../../src/app/rig-check/findings-rest';
import { checkSpin } from '../../src/app/rig-check/protocols';
import { CheckSession } from '../../src/app/rig-check/session';
import { keepCheck, lastPassed } from '../../src/app/rig-check/store';
import type { StiffnessNote } from '../../src/app/run-watch';
import { TwinWorld } from '../../src/app/twin-world';
import type { ChannelKind } from '../../src/model/channel';
import type { Finding } from '../../src/model/rig-check';
import { MapCache } from '../../src/twin/physics';
import { benchFolder, cleanUp, SILENT } from './kit';

const MAPS = new MapCache();
const bench = benchFolder();
const { rig, article } = { rig: loadBench(bench).rig.usable!, article: loadBench(bench).article.usable! };
const IDLE = 0.04;
const DEFAULTS = { boot: 0, idle: 0, bump: 0.1 };
let on: RunData;
let off: RunData;

afterAll(cleanUp);
beforeAll(async () => {
  const records = path.join(bench, 'records', 'spins');
  fs.mkdirSync(records, { recursive: true });
  const session = new CheckSession({
    bench, records, reporter: SILENT, requests: new Subject(),
    open: (r, layers) => new TwinWorld({ ...r, maps: MAPS, breathe: () => Promise.resolve(), now_ms: () => 0, ...(layers === undefined ? {} : { layers }) }),
  });
  const spin = async (propeller: boolean, set: readonly string[]): Promise<RunData> => {
    const { data } = await session.play('check-spin', { set, propeller });
    if (data === null) throw new Error('no data');
    return data;
  };
  on = await spin(true, ['bump=10 %']);
  off = await spin(false, ['bump=10 %', `idle=${100 * IDLE} %`]);
});

/** The run with the samples of a channel changed. */
function bent(data: RunData, kind: ChannelKind, change: (value: number, t_s: number) => number): RunData {
  return { ...data, channels: data.channels.map((c) => (c.kind === kind ? { ...c, value: c.value.map((v, i) => change(v, c.t_s[i])) } : c)) };
}
/** The run without some of the samples of a channel. */
function without(data: RunData, kind: ChannelKind, gone: (t_s: number, i: number) => boolean): RunData {
  return {
    ...data,
    channels: data.channels.map((c) => {
      if (c.kind !== kind) return c;
      const keep = [...c.t_s.keys()].filter((i) => !gone(c.t_s[i], i));
      return { ...c, t_s: Float64Array.from(keep, (i) => c.t_s[i]), value: Float64Array.from(keep, (i) => c.value[i]) };
    }),
  };
}
const named = (findings: readonly Finding[], id: string): Finding => {
  const found = findings.find((f) => f.id === id);
  if (found === undefined) throw new Error(`no finding ${id}`);
  return found;
};

describe('direction of thrust', () => {
  test('forwards passes, backwards fails with the three causes', () => {
    expect(named(thrustFindings(on, article), 'thrust-sign').verdict).toBe('pass');
    const back = thrustFindings(bent(on, 'thrust', (v) => -v), article);
    expect(named(back, 'thrust-sign')).toMatchObject({ verdict: 'fail', advice: expect.stringMatching(/swap two motor leads.*other hand.*load cell reads backwards/) as string });
    expect(back.map((f) => f.id)).not.toContain('propeller');
  });
});

describe('a propeller upside down', () => {
  const zero = () => segmentMean(on, withRole(on, 'zero-before')[0], 'thrust')!;
  const scaled = (share: number): RunData => bent(on, 'thrust', (v) => zero() + share * (v - zero()));
  const ct = (data: RunData): number => named(thrustFindings(data, article), 'propeller').values.ct!;

  test('gives half of its thrust (common practice, no published source) and is told; the right way up it is not', () => {
    expect(named(thrustFindings(on, article), 'propeller').verdict).toBe('pass');
    expect(named(thrustFindings(scaled(0.5), article), 'propeller')).toMatchObject({ verdict: 'warn', advice: expect.stringMatching(/see whether the propeller is upside down/) as string });
  });

  test('UIUC Propeller Data Site, vol. 1, apcsf_10x4.7_static_kt0835.txt: 0.1059 to 0.1299 pass, half of each is told', () => {
    for (const published of [0.1059, 0.1299]) {
      expect(named(thrustFindings(scaled(published / ct(on)), article), 'propeller').verdict).toBe('pass');
      expect(named(thrustFindings(scaled(published / 2 / ct(on)), article), 'propeller').verdict).toBe('warn');
    }
  });

  test('both sides of the boundary, and too much thrust', () => {
    const verdict = (value: number): string => named(thrustFindings(scaled(value / ct(on)), article), 'propeller').verdict;
    expect([verdict(0.0899), verdict(0.0901), verdict(0.2499), verdict(0.2501)]).toEqual(['warn', 'pass', 'pass', 'warn']);
  });

  test('one that gives so much that half of it is usual is known by an earlier check', () => {
    const much = scaled(0.2 / ct(on));
    const half = scaled(0.1 / ct(on));
    const told = (data: RunData, earlier: number): Finding => named(thrustFindings(data, article, { ct: earlier, at: '2026-03-01T12:00:00Z' }), 'propeller');
    expect(named(thrustFindings(half, article), 'propeller').verdict).toBe('pass');
    expect(told(half, 0.2)).toMatchObject({ verdict: 'warn', found: expect.stringMatching(/0\.2 at the check of 2026/) as string, advice: expect.stringMatching(/upside down or damaged, or whether it is another one/) as string });
    expect(told(much, 0.2).verdict).toBe('pass');
    expect([told(much, 0.2 / 0.7501).verdict, told(much, 0.2 / 0.7499).verdict]).toEqual(['pass', 'warn']);
  });

  test('the earlier check that counts is the newest one whose propeller was right', () => {
    const folder = benchFolder();
    const keep = (second: number, verdict: 'pass' | 'warn', value: number): void => {
      const at = `2026-03-01T12:00:0${second}.000Z`;
      const finding: Finding = { id: 'propeller', title: 't', verdict, found: 'f', advice: '', values: { ct: value } };
      keepCheck(folder, { spoolbench: 1, rig_check: rig.name, at, simulated: true, version: '0', rig_sha256: 'x', records: 'r', findings: [finding], layers: [], proven: false }, Date.parse(at));
    };
    expect(lastPassed(folder, rig, 'propeller')).toBeNull();
    keep(1, 'pass', 0.15);
    keep(2, 'pass', 0.16);
    keep(3, 'warn', 0.08);
    expect(lastPassed(folder, rig, 'propeller')).toMatchObject({ at: '2026-03-01T12:00:02.000Z', finding: { values: { ct: 0.16 } } });
    expect(lastPassed(folder, { name: 'another' }, 'propeller')).toBeNull();
  });
});

test('cables that pull: the zero after the spin is compared with that before, both sides of 5 % of the thrust', () => {
  const { start_s } = withRole(on, 'zero-after')[0];
  const [net, drift] = [named(thrustFindings(on, article), 'thrust-sign').values.thrust_N!, named(thrustFindings(on, article), 'zero-shift').values.shift_N!];
  const tug = (shift_N: number): Finding => named(thrustFindings(bent(on, 'thrust', (v, t) => (t >= start_s ? v + shift_N - drift : v)), article), 'zero-shift');
  expect(tug(0.0499 * net).verdict).toBe('pass');
  expect(tug(-0.0499 * net).verdict).toBe('pass');
  for (const shift_N of [0.0501 * net, -0.0501 * net]) expect(tug(shift_N)).toMatchObject({ verdict: 'warn', advice: expect.stringMatching(/cables off along the axis of no force/) as string });
});

describe('stop, idle, bump, end points', () => {
  const span = (role: string) => withRole(off, role)[0];
  /** A motor that stands still in a segment: no speed there, and no more current than at rest. */
  const still = (data: RunData, role: string): RunData => {
    const { start_s, end_s } = span(role);
    return without(data, 'speed', (t_s) => t_s >= start_s && t_s < end_s);
  };

  test('half of idle stands still and idle turns: distinct; both turn: higher than need be; neither: a failure', () => {
    expect(named(spinFindings(off, rig), 'idle')).toMatchObject({ verdict: 'warn', found: expect.stringMatching(/^2 % turns at \d+ rpm, 4 % turns/) as string });
    const distinct = still(off, 'below-idle');
    expect(named(spinFindings(distinct, rig), 'idle')).toMatchObject({ verdict: 'pass', found: expect.stringMatching(/^2 % stands still, 4 % turns/) as string });
    expect(named(spinFindings(still(distinct, 'idle'), rig), 'idle')).toMatchObject({ verdict: 'fail', advice: expect.stringMatching(/raise throttle\.idle/) as string });
  });

  test('a bump that turns nothing is a failure that names where to look', () => {
    expect(named(spinFindings(off, rig), 'bump').verdict).toBe('pass');
    expect(named(spinFindings(still(off, 'bump'), rig), 'bump')).toMatchObject({ verdict: 'fail', advice: expect.stringMatching(/throttle signal, the ESC’s arming, the motor leads/) as string });
  });

  test('pulses have end points that a person teaches; a digital signal has none', () => {
    const points = (signal: 'servo-pulse' | 'digital-frame'): Finding => named(spinFindings(off, { ...rig, throttle: { ...rig.throttle, signal } }), 'end-points');
    expect(points('servo-pulse')).toMatchObject({ verdict: 'not-checked', found: '1000 µs is stop, 2000 µs is full', advice: expect.stringMatching(/teach the ESC these two pulses/) as string });
    expect(points('digital-frame').found).toMatch(/no end points/);
  });

  test('the spin begins with stop for as long as the ESC boots', () => {
    const steps = (boot: number) => [...checkSpin.steps({ ...DEFAULTS, boot }, {} as never)];
    expect(steps(3)[0]).toMatchObject({ kind: 'rest', duration_s: 3, role: 'boot' });
    expect(steps(0)[0]).not.toMatchObject({ role: 'boot' });
  });
});

describe('the supply under hard steps', () => {
  const note = (change: Partial<StiffnessNote>): StiffnessNote =>
    ({ highest_V: 7.6, lowest_V: 7.5, peak_A: 8, source_ohm: 0.01, rest_V: 7.6, dip_V: 0.1, rise_V: 0, limiting_rows: 0, limiting_s: 0, ...change });
  const found = (change: Partial<StiffnessNote>): Finding => stiffnessFinding(note(change), rig, 7.6);

  test('a dip of a tenth is the boundary, and the advice is about leads', () => {
    expect(found({ lowest_V: 0.9001 * 7.6 }).verdict).toBe('pass');
    expect(found({ lowest_V: 0.8999 * 7.6 })).toMatchObject({ verdict: 'warn', advice: expect.stringMatching(/thicker leads, a capacitor at the ESC, or a battery/) as string });
  });

  test('a rise on braking to 95 % of the limit is the boundary, and the advice is about the sink', () => {
    const limit_V = rig.limits.voltage_high.above_V;
    expect(found({ highest_V: 0.9499 * limit_V }).verdict).toBe('pass');
    expect(found({ highest_V: 0.9501 * limit_V })).toMatchObject({ verdict: 'warn', advice: expect.stringMatching(/braking lifts the bus close to the limit/) as string });
  });

  test('without current or voltage it is not checked, and says so', () => {
    expect(stiffnessFinding(null, rig, 7.6)).toMatchObject({ verdict: 'not-checked' });
  });
});

describe('a channel at rest', () => {
  /** The second before the spin, taken for a check at rest. */
  const rest = (data: RunData): Finding =>
    named(restFindings({ ...data, segments: data.segments.map((s) => (s.segment.role === 'zero-before' ? { ...s, segment: { ...s.segment, role: 'check-rest' } } : s)) }, rig, 7.6), 'rest-voltage');

  test('tells noise, drift, rate and the longest gap', () => {
    expect(rest(off)).toMatchObject({ verdict: 'pass', found: expect.stringMatching(/noise [\d.]+ mV, (no drift seen|.* a minute); 1000 samples a second, longest gap 1 ms/) as string });
  });

  test('one that never moves, and one with a hole, are told', () => {
    expect(rest(bent(off, 'voltage', () => 7.6))).toMatchObject({ verdict: 'warn', advice: expect.stringMatching(/may be a frozen sensor/) as string });
    const hole = (samples: number): Finding => rest(without(off, 'voltage', (_, i) => i >= 500 && i < 500 + samples));
    // Periods of 1 ms: two samples missing make a gap of 3 ms, three of 4 ms.
    expect(hole(2).verdict).toBe('pass');
    expect(hole(3)).toMatchObject({ verdict: 'warn', advice: expect.stringMatching(/samples go missing/) as string });
  });
});
