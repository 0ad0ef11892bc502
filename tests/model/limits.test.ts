// Goal: the limits that the board gets never allow what the rig file forbids, and are at most one count tighter.
// Method: random conversions and limits are compiled and every count near the threshold is judged both ways; then whole tables.
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { boardGuards, boardLimits, safeThreshold, type BoardLimit } from '../../src/model/board-limits';
import { channelFacts, leadResistance, spanOf } from '../../src/model/channel-facts';
import { toCounts, toSI, type Conversion } from '../../src/model/channel';
import { badOf, freshIn, limitList } from '../../src/model/limits';
import { value } from './helpers';

const line = fc.record({ zero: fc.integer({ min: -100_000, max: 100_000 }), c0: fc.double({ min: -1, max: 1, noNaN: true }), size: fc.double({ min: 1e-6, max: 1, noNaN: true }), falls: fc.boolean() })
  .map(({ zero, c0, size, falls }): Conversion => ({ law: 'linear', zero, c0, c1: falls ? -size : size, c2: 0 }));
// A bend of at most a tenth of the slope within ±20 000 counts, so that the law stays on its rising or falling branch.
const bend = fc.record({ zero: fc.integer({ min: -5000, max: 5000 }), size: fc.double({ min: 1e-5, max: 0.1, noNaN: true }), falls: fc.boolean(), share: fc.double({ min: -0.1, max: 0.1, noNaN: true }) })
  .map(({ zero, size, falls, share }): Conversion => ({ law: 'linear', zero, c0: 0, c1: falls ? -size : size, c2: (share * size) / 20_000 }));
const period = fc.record({ pairs: fc.integer({ min: 1, max: 20 }), unit: fc.constantFrom(1e-6, 4e-6, 1e-7), c1: fc.double({ min: 0.98, max: 1.02, noNaN: true }) })
  .map(({ pairs, unit, c1 }): Conversion => ({ law: 'period', unit_s: unit, pole_pairs: pairs, c1 }));

describe('thresholds in counts', () => {
  const judged = (c: Conversion, si: number, side: 'above' | 'below', span: number): void => {
    const t = safeThreshold(c, si, side);
    let tighter = 0;
    for (let counts = t.threshold - span; counts <= t.threshold + span; counts++) {
      if (c.law === 'period' && counts <= 0) continue;
      const trips = t.side === 'above' ? counts > t.threshold : counts < t.threshold;
      const forbidden = side === 'above' ? toSI(c, counts) > si : toSI(c, counts) < si;
      if (forbidden) expect(trips, `${counts} counts are ${toSI(c, counts)}, ${side} ${si}`).toBe(true);
      else if (trips) tighter++;
    }
    expect(tighter).toBeLessThanOrEqual(1);
  };
  const side = fc.constantFrom<'above' | 'below'>('above', 'below');

  test('a straight channel, rising or falling: never too loose, at most one count tighter', () => {
    fc.assert(fc.property(line, fc.integer({ min: -20_000, max: 20_000 }), fc.double({ min: 0, max: 1, noNaN: true }), side, (c, counts, part, s) => {
      const at = 'zero' in c ? counts + c.zero + part : counts;
      judged(c, toSI(c, at), s, 20);
    }), { seed: 1, numRuns: 500 });
  });
  test('a bent channel', () => {
    fc.assert(fc.property(bend, fc.integer({ min: -15_000, max: 15_000 }), fc.double({ min: 0, max: 1, noNaN: true }), side, (c, counts, part, s) => {
      judged(c, toSI(c, counts + part), s, 20);
    }), { seed: 1, numRuns: 500 });
  });
  test('speed is the inverse of a period: above in rpm is below in counts', () => {
    fc.assert(fc.property(period, fc.double({ min: 600, max: 100_000, noNaN: true }), side, (c, rpm, s) => {
      expect(safeThreshold(c, rpm, 'above').side).toBe('below');
      judged(c, rpm, s, 20);
    }), { seed: 1, numRuns: 500 });
  });
  test('a limit that falls on a count lets that count pass and stops the next', () => {
    const current: Conversion = { law: 'linear', zero: 0, c0: 0, c1: 0.01, c2: 0 };
    expect(safeThreshold(current, 40, 'above')).toEqual({ side: 'above', threshold: 4000 });
    expect(safeThreshold(current, 39.999, 'above')).toEqual({ side: 'above', threshold: 3999 });
    expect(safeThreshold(current, 5.5, 'below')).toEqual({ side: 'below', threshold: 550 });
    expect(safeThreshold({ ...current, c1: -0.01 }, 40, 'above')).toEqual({ side: 'below', threshold: -4000 });
  });
  test('a limit out of reach compiles to the end of the counts, never to NaN', () => {
    expect(safeThreshold({ law: 'linear', zero: 0, c0: 0, c1: 1, c2: -1 }, 5, 'above').threshold).toBe(2_147_483_647);
    expect(safeThreshold({ law: 'period', unit_s: 1e-6, pole_pairs: 6, c1: 1 }, 0, 'below').threshold).toBe(2_147_483_647);
  });
});

describe('conversions', () => {
  test('SI to counts and back gives the same value', () => {
    fc.assert(fc.property(fc.oneof(line, bend), fc.integer({ min: -15_000, max: 15_000 }), (c, counts) => {
      const si = toSI(c, counts);
      expect(Math.abs(toSI(c, toCounts(c, si)) - si)).toBeLessThanOrEqual(1e-9 * (Math.abs(si) + 1));
      expect(Math.abs(toCounts(c, si) - counts)).toBeLessThanOrEqual(1e-5 * (Math.abs(counts) + 1));
    }), { seed: 1 });
    fc.assert(fc.property(period, fc.integer({ min: 1, max: 65_000 }), (c, counts) => {
      expect(Math.abs(toCounts(c, toSI(c, counts)) - counts)).toBeLessThanOrEqual(1e-9 * counts);
    }), { seed: 1 });
  });

  test('electrical speed is mechanical speed times pole pairs', () => {
    // Identity: one mechanical turn holds `pole_pairs` electrical periods (any text on electrical machines).
    const c: Conversion = { law: 'period', unit_s: 1e-6, pole_pairs: 6, c1: 1 };
    for (const counts of [100, 263, 5000]) expect(toSI(c, counts) * 6).toBeCloseTo(60 / (counts * 1e-6), 6);
    expect(toSI(c, 0)).toBe(0);
  });
});

describe('windows', () => {
  test('as many fresh samples as fit into the time, at least one; three quarters of them, rounded up', () => {
    expect([freshIn(0.005, 1000), freshIn(0.05, 12_500), freshIn(0.0499, 12_500), freshIn(0.001, 12_500), freshIn(0.3, 100_000)]).toEqual([5, 4, 3, 1, 3]);
    expect([1, 2, 3, 4, 5, 8, 20, 256].map(badOf)).toEqual([1, 2, 3, 3, 4, 6, 15, 192]);
  });
});

describe('the table for the board', () => {
  const rig = value('rig');
  const table = boardLimits(rig, channelFacts(rig));
  const row = (key: string, rule?: string): Partial<BoardLimit> | undefined => table.find((l) => l.key === `limits.${key}` && (rule === undefined || l.rule === rule));

  test('holds each limit of the example rig in counts', () => {
    expect(row('current_peak')).toMatchObject({ rule: 'above', channel: 0, cause: 'CURRENT_PEAK', threshold: 4000, bad: 4, window: 5 });
    expect(row('current_mean')).toMatchObject({ rule: 'mean-above', channel: 0, threshold: 900, span_us: 500_000, window: 0 });
    expect(row('voltage_low')).toMatchObject({ rule: 'below', channel: 1, cause: 'VOLTAGE_LOW', threshold: 1920, bad: 15, window: 20 });
    expect(row('voltage_high')).toMatchObject({ rule: 'above', threshold: 7200, bad: 2, window: 2 });
    // 38 000 rpm with 6 pole pairs is a period of 60 / (38 000 · 6) s = 263.2 µs: shorter than 264 counts of 1 µs trips.
    expect(row('speed')).toMatchObject({ rule: 'below', channel: 2, cause: 'OVERSPEED', threshold: 264, bad: 15, window: 20 });
    // 250 gf = 2.4516625 N = 4903.3 counts of 0.0005 N.
    expect(row('thrust')).toMatchObject({ rule: 'above', channel: 3, threshold: 4903, bad: 3, window: 4 });
    expect(row('motor_temperature')).toMatchObject({ channel: 4, threshold: 900, bad: 4, window: 5 });
    expect(row('stall')).toMatchObject({ rule: 'stall', channel: 0, cause: 'STALL', threshold: 300, span_us: 300_000 });
    expect(row('desync')).toMatchObject({ rule: 'desync', channel: 2, cause: 'DESYNC_SUSTAINED', span_us: 200_000 });
    expect(table.filter((l) => l.rule === 'stale').map((l) => [l.channel, l.span_us])).toEqual([[0, 5000], [1, 5000], [2, 5000], [3, 62_500], [4, 500_000], [5, 500_000]]);
    expect(table.filter((l) => l.rule === 'invalid').map((l) => [l.channel, l.bad, l.window])).toEqual([[0, 4, 5], [1, 4, 5], [3, 4, 5], [4, 4, 5], [5, 4, 5]]);
    expect(table.filter((l) => l.rule === 'frozen').map((l) => [l.channel, l.window])).toEqual([[0, 200], [3, 16]]);
    expect(table.map((l) => l.slot)).toEqual(table.map((_, i) => i));
  });

  test('every limit of the file is in the list, and those that need the past or the expectation are left to the station', () => {
    const left = limitList(rig).filter((l) => !table.some((t) => t.key === l.key && t.cause === l.code)).map((l) => l.key);
    expect(left).toEqual(['limits.desync', 'limits.host_silence', 'limits.longest_run', 'limits.supply_sag', 'limits.trend.motor_temperature', 'limits.mismatch']);
  });

  test('a rig with everything still fits the slots of a board', () => {
    const full = value('rig', 'rig', ['esc_temperature: { period: 100 ms, gain: 0.1 K }', 'esc_temperature: { period: 100 ms, gain: 0.1 K }\n  torque: { period: 100 ms, gain: 0.01 mN m }']);
    expect(boardLimits(full, channelFacts(full)).length).toBeLessThanOrEqual(24);
  });

  test('a window of a single sample and a window at the most that a board keeps compile, one more does not', () => {
    const at = (time: string) => {
      const r = value('rig', 'rig', ['above: 40 A, for: 5 ms', `above: 40 A, for: ${time}`]);
      return boardLimits(r, channelFacts(r))[0];
    };
    expect(at('0.5 ms')).toMatchObject({ bad: 1, window: 1 });
    expect(at('256 ms')).toMatchObject({ bad: 192, window: 256 });
    expect(() => at('257 ms')).toThrow('257 fresh samples');
  });

  test('the guards are rounded down, the still period comes from the stop speed', () => {
    expect(boardGuards(rig, channelFacts(rig))).toEqual({ deadman_us: 100_000, longest_run_us: 600_000_000, throttle_cap: 10_000, current_zero: 0, voltage_zero: 0, still_period: 6666 });
    const other = value('rig', 'rig', ['throttle_cap: 100 %', 'throttle_cap: 66.667 %'], ['gain: 10 mA, zero: 0', 'gain: 10 mA, zero: 37'], ['speed: 1500 rpm', 'speed: 10 rpm']);
    expect(boardGuards(other, channelFacts(other))).toMatchObject({ throttle_cap: 6666, current_zero: 37, still_period: 65_534 });
  });
});

describe('channel facts', () => {
  test('a calibration of this rig replaces gain, zero and uncertainty; the newest counts; another rig’s does not', () => {
    const rig = value('rig');
    const c = value('calibration');
    const thrust = channelFacts(rig, [{ ...c, date: '2026-01-01', u_gain: 0.5 }, c, { ...c, rig: 'other', date: '2026-12-01' }])[3];
    expect(thrust).toMatchObject({ id: 3, kind: 'thrust', column: 'thrust_N', conversion: { law: 'linear', zero: 8388, c0: 0, c1: 0.0005, c2: 1e-10 }, u_gain: 0.002, u_offset: 0.001 });
    expect(channelFacts(rig)[3]).toMatchObject({ conversion: { law: 'linear', zero: 0, c1: 0.0005 }, u_gain: 0.003, period_us: 12_500 });
    expect(channelFacts(rig, [{ ...c, channel: 'speed', law: { kind: 'factor', factor: 1.0002 } }])[2]?.conversion).toEqual({ law: 'period', unit_s: 1e-6, pole_pairs: 6, c1: 1.0002 });
    const channel = rig.channels[3];
    expect(channel && spanOf(rig, channel, [c])).toEqual({ from: -0.5, to: 3 });
    expect(channel && spanOf(rig, channel)).toBeNull();
  });
  test('a calibrated lead resistance replaces the declared one', () => {
    const rig = value('rig');
    expect(leadResistance(rig)).toEqual({ value_ohm: 0.008, u: 0 });
    expect(leadResistance(rig, [{ ...value('calibration'), channel: 'lead_resistance', law: { kind: 'constant', value: 0.0091 }, u_gain: 0.01 }])).toEqual({ value_ohm: 0.0091, u: 0.01 });
  });
});
