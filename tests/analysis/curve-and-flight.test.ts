// Goal: the throttle map between any two curves, and the change of a flight from one setting to another, with their uncertainty.
// Method: straight lines and a cubic whose answers are worked by hand; repeats with a known scatter; instruments that both settings share.
import { describe, expect, test } from 'vitest';
import { changeSentences, flightChanges } from '../../src/analysis/campaign/fly-change';
import { hoverThrustOf } from '../../src/analysis/campaign/fly';
import type { CampaignInput } from '../../src/analysis/campaign/input';
import { matchCurves, type MatchedCurve } from '../../src/analysis/campaign/match-curves';
import type { RunCurve } from '../../src/analysis/metrics/run-curve';
import type { Craft } from '../../src/model/files/craft';
import { makeCampaign, madeMetrics } from './make-campaign';

describe('a throttle map', () => {
  const throttle = Array.from({ length: 101 }, (_, i) => i / 100);
  const curve = (of: (x: number) => number, u: number | null = null): MatchedCurve => ({
    throttle, thrust_N: { mean: throttle.map(of), u: throttle.map(() => u) }, speed_rpm: { mean: throttle.map((x) => 1000 * of(x)), u: throttle.map(() => u) }, power_W: null,
  });
  const e = 0.3;
  const expo = (x: number): number => (1 - e) * x + e * x ** 3;

  test('finds the expo that bent the curve, in the direction old throttle in, new throttle out', () => {
    // The old one gives expo(x) where the new one gives x: feeding expo(x) to the new one gives the old feel.
    const match = matchCurves(curve(expo), curve((x) => x), 'thrust', 11);
    if (!match.ok) throw new Error(match.reason);
    expect(match.expo).toBeCloseTo(e, 6);
    expect(match.rows.map((r) => r.new ?? -1)).toEqual(match.rows.map((r) => expect.closeTo(expo(r.old), 6) as number));
    expect(match.worst_error).toBeLessThan(1e-6);
    // Largest of x − expo(x) = e(x − x³), at x = 1/√3; the table of eleven rows meets it at 0.6.
    expect(match.worst_uncompensated).toBeCloseTo(e * (0.6 - 0.6 ** 3), 6);
  });

  test('the same by speed; no curve of power is a reason, not a crash', () => {
    const match = matchCurves(curve(expo), curve((x) => x), 'speed', 5);
    expect(match.ok && match.expo).toBeCloseTo(e, 6);
    expect(matchCurves(curve(expo), curve(expo), 'power')).toEqual({ ok: false, reason: expect.stringContaining('first has no curve of power') as string });
    const short = { ...curve(expo), throttle: throttle.map((x) => 0.9 * x) };
    expect(matchCurves(curve(expo), short, 'thrust')).toEqual({ ok: false, reason: expect.stringContaining('second has no curve of thrust') as string });
  });

  test('repeats of both move the new throttle by their spread over the slope (JCGM 100:2008, 5.1.2)', () => {
    const match = matchCurves(curve((x) => 2 * x, 0.03), curve((x) => 4 * x, 0.04), 'thrust', 3);
    expect(match.ok && match.rows[1]).toMatchObject({ old: 0.5, new: expect.closeTo(0.25, 9) as number, u_new: expect.closeTo(0.05 / 4, 9) as number });
    const single = matchCurves(curve((x) => 2 * x), curve((x) => 4 * x, 0.04), 'thrust', 3);
    expect(single.ok && single.rows[1].u_new).toBeNull();
  });

  test('what the new one cannot give is said with the most that it gives', () => {
    const match = matchCurves(curve((x) => 2 * x), curve((x) => x), 'thrust', 3);
    // 1 N = 101.97 gf (standard gravity, ISO 80000-3:2019).
    expect(match.ok && match.rows.map((r) => [r.new === null, r.reason])).toEqual([[false, null], [false, null], [true, 'the new one gives at most 102 gf']]);
  });
});

describe('a change in the air', () => {
  const craft: Craft = {
    name: 'made', about: null, mass_kg: 0.16, rotors: 4, battery: { energy_Wh: 6, cells: 2, nominal_cell_V: 3.7, sag: 0.05, usable: 0.8, mass_kg: null }, avionics_W: 2, installed_loss: 0.06, installed_loss_u: 0,
  };
  const throttle = Array.from({ length: 46 }, (_, i) => 0.1 + 0.02 * i);
  const made = (watts: number, u_gain: number): RunCurve => ({
    source: 'sweep', throttle, values: { thrust_N: throttle.map((x) => 1.2 * x), power_W: throttle.map((x) => watts * x), speed_rpm: null, current_A: null },
    scatter: { thrust_N: null, power_W: null, speed_rpm: null, current_A: null }, instruments: u_gain === 0 ? {} : { current: { u_gain, u_offset: 0 } }, voltage_V: 7.6, flags: [],
  });
  const SPREAD = [-0.1, 0, 0.1];
  const input = (a: number, b: number, u_gain = 0, n = 3): CampaignInput => {
    const base = makeCampaign({ a: SPREAD.slice(0, n).map(() => ({})), b: SPREAD.slice(0, n).map(() => ({})) }, { craft });
    return { ...base, runs: base.runs.map((r) => ({ ...r, metrics: madeMetrics(r.id, { full_throttle_thrust_N: r.setting === 'a' ? 1.2 : 1.3 }, { curve: made((r.setting === 'a' ? a : b) + SPREAD[r.repeat - 1], u_gain) }) })) };
  };
  const need = hoverThrustOf(craft);
  const watts = (k: number): number => (4 * k * need) / 1.2 + 2;
  const seconds = (k: number): number => (3600 * 6 * 0.8 * 0.95) / watts(k);

  test('hover power, time in the air and lift change by what is worked by hand, with Student\'s interval', () => {
    const [power, time, throttleChange, margin] = flightChanges(input(20, 19), craft, 'a', 'b');
    expect(power.difference).toBeCloseTo(watts(19) - watts(20), 6);
    // Two means of three with s = 0.1 each, 4 degrees of freedom: t(0.975; 4) = 2.776 (any table of Student's t).
    const u = ((4 * need) / 1.2) * 0.1 * Math.sqrt(2 / 3);
    expect(power.u).toBeCloseTo(u, 6);
    expect((power.interval.upper ?? 0) - (power.difference ?? 0)).toBeCloseTo(2.776 * u, 3);
    expect(time.difference).toBeCloseTo(seconds(19) - seconds(20), 1);
    expect(throttleChange.difference).toBeCloseTo(0, 9);
    expect(margin.difference).toBeCloseTo(0.1 / need, 9);
  });

  test('a gain error that both settings share moves only their difference by its share', () => {
    const plain = flightChanges(input(20, 19), craft, 'a', 'b')[0].u ?? 0;
    const shared = flightChanges(input(20, 19, 0.05), craft, 'a', 'b')[0].u ?? 0;
    // 5 % of the 4·1·need/1.2 W by which they differ, not of the 30 W that each draws.
    expect(Math.sqrt(shared ** 2 - plain ** 2)).toBeCloseTo(0.05 * ((4 * need) / 1.2), 6);
  });

  test('sentences carry intervals, say what is not settled, and what is unknown', () => {
    const told = changeSentences(flightChanges(input(20, 19), craft, 'a', 'b'), 'A', 'B');
    expect(told[0]).toMatch(/^Against A, B changes hover power by −\S+ W \(−\S+ to −\S+ W\), the time in the air by \+\S+ s or \+\S+ % \(\+\S+ to \+\S+ s\) and lift at full throttle by \+\S+ times the weight \(\+\S+ to \+\S+ times the weight\)\.$/);
    const same = changeSentences(flightChanges(input(20, 20), craft, 'a', 'b'), 'A', 'B').join(' ');
    expect(same).toMatch(/Not settled, because the interval of the change holds zero: hover power \(−\S+ to \+\S+ W\), the time in the air \(−\S+ to \+\S+ s\) and hover throttle/);
    // Both ends and the value of a change have the same decimals: those that show its interval with two digits (JCGM 100:2008, 7.2.6).
    const decimals = [...told[0].matchAll(/hover power by −(\d+\.?(\d*)) W \(−\d+\.?(\d*) to −\d+\.?(\d*) W\)/g)].map(([, , v, lower, upper]) => [v.length, lower.length, upper.length]);
    expect(decimals).toEqual([[2, 2, 2]]);
    expect(changeSentences(flightChanges(input(20, 19, 0, 1), craft, 'a', 'b'), 'A', 'B')[0]).toContain('no interval: one run of a setting');
    const bare = makeCampaign({ a: [{ hold_rpm: 1 }], b: [{ hold_rpm: 1 }] }, { craft });
    expect(changeSentences(flightChanges(bare, craft, 'a', 'b'), 'A', 'B')).toEqual(['Whether B flies longer than A is unknown: no run of this setting has a thrust curve.']);
  });
});
