// Goal: what a rig check computes of a run is right, and says so when it cannot tell.
// Method: made signals with known answers, a worked example of a published guide, both sides of each boundary.
import { describe, expect, test } from 'vitest';
import { remountSplit } from '../../src/analysis/commissioning/remount';
import { restReadings } from '../../src/analysis/commissioning/rest';
import { levelThrustCoefficient, poleCount, type LevelReading } from '../../src/analysis/commissioning/spin';
import { firstAbove, zeroThrottleAt } from '../../src/analysis/commissioning/stop';
import { tapResponse } from '../../src/analysis/commissioning/tap';
import type { RunChannel, RunData } from '../../src/analysis/run-data';
import { uniform } from '../../src/protocols/random';

const level = (over: Partial<LevelReading>): LevelReading => ({ throttle: 1, speed_rpm: 30_000, current_A: 0, voltage_V: 7.5, thrust_N: null, turning: 1, ...over });
const motor = { kv_rpm_per_V: 4000, resistance_ohm: 0.1, pole_pairs: 6 };

describe('pole pairs', () => {
  test('a speed that fits KV and voltage confirms the declared pairs', () => {
    expect(poleCount(level({}), motor)).toMatchObject({ expected_rpm: 30_000, ratio: 1, likely_pairs: 6 });
  });
  test('a declared number that is too small shows as a speed that is too high, and the right one is named', () => {
    // 7 pairs turn, 6 are declared: the speed is indicated 7/6 too high.
    expect(poleCount(level({ speed_rpm: (30_000 * 7) / 6 }), motor)?.likely_pairs).toBe(7);
    expect(poleCount(level({ speed_rpm: (30_000 * 5) / 6 }), motor)?.likely_pairs).toBe(5);
  });
  test('half a pair is the boundary', () => {
    expect(poleCount(level({ speed_rpm: (30_000 * 6.49) / 6 }), motor)?.likely_pairs).toBe(6);
    expect(poleCount(level({ speed_rpm: (30_000 * 6.51) / 6 }), motor)?.likely_pairs).toBe(7);
  });
  test('the drop over the winding is taken off: current over the duty', () => {
    expect(poleCount(level({ throttle: 0.5, current_A: 1, voltage_V: 8 }), motor)?.expected_rpm).toBeCloseTo(4000 * (4 - 0.1 * 2), 9);
  });
  test('without speed, voltage or throttle nothing is claimed', () => {
    for (const missing of [{ speed_rpm: null }, { voltage_V: null }, { throttle: 0 }, { current_A: 1000 }]) expect(poleCount(level(missing), motor)).toBeNull();
  });
});

test('the thrust coefficient of a level is T/(ρ n² D⁴) of the thrust above zero, in standard air unless declared', () => {
  // Definition of CT, e.g. McCormick, Aerodynamics, Aeronautics and Flight Mechanics, ch. 6 (from memory).
  const ct = levelThrustCoefficient(level({ speed_rpm: 6000, thrust_N: 1.1 }), 0.1, 0.2, null);
  expect(ct).toBeCloseTo(1 / (1.225 * 100 ** 2 * 0.2 ** 4), 12);
  expect(levelThrustCoefficient(level({ thrust_N: 1 }), 0, null, null)).toBeNull();
});

describe('tap', () => {
  const fs = 1000;
  const decay = (f: number, zeta: number, noise: number, amplitude = 1, rate = fs): { t: number[]; y: number[] } => {
    const next = uniform(7);
    const t = Array.from({ length: 4 * rate }, (_, i) => i / rate);
    const wn = 2 * Math.PI * f;
    const y = t.map((s) => 0.3 + noise * (next() - 0.5) + (s < 2 ? 0 : amplitude * Math.exp(-zeta * wn * (s - 2)) * Math.sin(wn * Math.sqrt(1 - zeta ** 2) * (s - 2))));
    return { t, y };
  };
  test.each([[95, 0.02], [40, 0.05], [180, 0.01]])('%d Hz with damping %d is found from the free decay', (f, zeta) => {
    const { t, y } = decay(f, zeta, 0.002);
    const r = tapResponse(t, y, 1.9);
    if (!r.ok) throw new Error(r.reason);
    expect(Math.abs(r.frequency_Hz / f - 1)).toBeLessThan(0.01);
    expect(Math.abs(r.damping / zeta - 1)).toBeLessThan(0.15);
  });
  test('noise alone is no tap', () => {
    const { t, y } = decay(95, 0.02, 0.002, 0);
    expect(tapResponse(t, y, 1.9)).toMatchObject({ ok: false });
  });
  test('a decay with fewer than four oscillations is refused, not guessed', () => {
    const { t, y } = decay(40, 0.4, 0.002);
    expect(tapResponse(t, y, 1.9)).toMatchObject({ ok: false, reason: expect.stringMatching(/oscillations above the noise/) as string });
  });
  test('fewer than four samples a period are refused', () => {
    const { t, y } = decay(190, 0.005, 0.002, 1, 600);
    expect(tapResponse(t, y, 1.9)).toMatchObject({ ok: false, reason: expect.stringMatching(/samples? a period|sampled 3/) as string });
  });
  test('too few samples are refused', () => {
    expect(tapResponse([0, 1, 2], [0, 0, 0], 1)).toMatchObject({ ok: false });
  });
});

describe('repeatability study', () => {
  /** Five values with a mean and a standard deviation: the pattern −2 … 2 has the standard deviation √2.5. */
  const group = (mean: number, sd: number): number[] => [-2, -1, 0, 1, 2].map((k) => mean + (k * sd) / Math.sqrt(2.5));
  test('splits ten days of five readings as JCGM 100:2008, H.5 does (values from memory)', () => {
    const means_uV = [172, 116, 13, 144, 106, 31, 60, 125, 163, 41];
    const sds_uV = [60, 77, 111, 101, 67, 93, 80, 73, 88, 86];
    const split = remountSplit(means_uV.map((m, i) => group(10 + m * 1e-6, sds_uV[i] * 1e-6)));
    if (!split.ok) throw new Error(split.reason);
    expect(split.mean).toBeCloseTo(10.000097, 6);
    expect(split.within * split.mean).toBeCloseTo(85e-6, 6);
    expect(split.between * split.mean).toBeCloseTo(43e-6, 6);
  });
  test('mountings that do not differ more than their runs add nothing, and it is said', () => {
    const split = remountSplit([group(1, 0.1), group(1, 0.1), group(1, 0.1)]);
    expect(split).toMatchObject({ ok: true, between: 0, flags: [expect.stringMatching(/negative/)] });
  });
  test('one mounting, or one run in each, tells nothing', () => {
    expect(remountSplit([group(1, 0.1)])).toMatchObject({ ok: false });
    expect(remountSplit([[1], [1.1]])).toMatchObject({ ok: false });
    expect(remountSplit([group(0.1, 1), group(-0.1, 1)])).toMatchObject({ ok: false });
  });
});

describe('at rest', () => {
  const channel = (t_s: number[], value: number[]): RunChannel => ({
    kind: 'thrust', column: 'thrust_N', period_s: 0.01, u_gain: 0, u_offset: 0, filter_Hz: null, averaged: 1, placement: null, impossible: 0,
    t_s: Float64Array.from(t_s), value: Float64Array.from(value),
  });
  const data = (c: RunChannel): RunData => ({ channels: [c] }) as unknown as RunData;
  test('noise is the scatter about a line, drift its slope, rate and gaps are of the samples that came', () => {
    const t = Array.from({ length: 1000 }, (_, i) => i / 100 + (i > 500 ? 0.05 : 0));
    const [r] = restReadings(data(channel(t, t.map((s, i) => 2 + 0.01 * s + (i % 2 === 0 ? 0.1 : -0.1)))), 0, 20);
    expect(r.noise).toBeCloseTo(0.1, 3);
    expect(r.drift_per_min).toBeCloseTo(0.6, 1);
    expect(r.longest_gap_s).toBeCloseTo(0.06, 9);
    expect(r.rate_Hz).toBeCloseTo(999 / 10.04, 6);
    expect(r.declared_Hz).toBe(100);
  });
  test('four samples tell nothing, five do', () => {
    expect(restReadings(data(channel([0, 1, 2, 3], [1, 1, 1, 1])), 0, 10)[0]).toMatchObject({ mean: null, noise: null, rate_Hz: null });
    expect(restReadings(data(channel([0, 1, 2, 3, 4], [1, 1, 1, 1, 1])), 0, 10)[0]).toMatchObject({ mean: 1, rate_Hz: 1 });
  });
});

describe('a stop in the record', () => {
  const throttle = { t_s: Float64Array.from([0, 1, 2, 3, 4]), value: Float64Array.from([0, 0.1, 0.1, 0, 0]) };
  test('zero throttle is the first row from which it stays zero', () => {
    expect(zeroThrottleAt({ throttle }, 0.5)).toBe(3);
    expect(zeroThrottleAt({ throttle }, 3.5)).toBe(4);
    expect(zeroThrottleAt({ throttle: { t_s: throttle.t_s, value: Float64Array.from([0, 0, 0, 0, 0.1]) } }, 0)).toBeNull();
  });
  test('a limit is crossed by the first sample above it', () => {
    expect(firstAbove(throttle, 0.09, 0)).toBe(1);
    expect(firstAbove(throttle, 0.1, 0)).toBeNull();
    expect(firstAbove(throttle, 0.09, 1.5)).toBe(2);
  });
});
