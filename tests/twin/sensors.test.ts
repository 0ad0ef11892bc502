// Goal: the converters err the way that real ones do, and by no more than they declare. Method: seeded rigs at rest or in a hold,
// compared with the truth; the load cell and the current path also on their own.
import { describe, expect, test } from 'vitest';
import { CHANNEL, NO_COMMUTATION, Rng, scout, tinyClass } from '../../src/twin/physics';
import type { RigParameters } from '../../src/twin/physics';
import { LoadCell } from '../../src/twin/physics/load-cell';
import { CurrentPath, periodCounts } from '../../src/twin/physics/sensors';
import { mean, rigOf, run, si, spread } from './helpers';

describe('calibration errors', () => {
  const SEEDS = 2000;
  const rigs = Array.from({ length: SEEDS }, (_, seed) => rigOf(scout, { seed: seed + 1 }).converters.map((c) => [c.gainError, c.offsetError]));
  // 99.9 % band of a standard deviation from n normal draws: ± 3.29/√(2(n−1)).
  const band = 3.29 / Math.sqrt(2 * (SEEDS - 1));

  test.each(Object.entries(CHANNEL))('%s: gain and zero are drawn per seed with the declared standard uncertainty', (_, index) => {
    const fact = rigOf(scout).channels[index];
    const gains = rigs.map((rig) => rig[index][0]);
    const offsets = rigs.map((rig) => rig[index][1]);
    expect(Math.abs(spread(gains) / fact.gainUncertainty - 1)).toBeLessThan(band);
    expect(Math.abs(mean(gains))).toBeLessThan((3.29 * fact.gainUncertainty) / Math.sqrt(SEEDS));
    if (fact.offsetUncertainty === 0) expect(spread(offsets)).toBe(0);
    else expect(Math.abs(spread(offsets) / fact.offsetUncertainty - 1)).toBeLessThan(band);
  });

  test('a reading is (1 + gain error)·truth + zero error, to its noise', () => {
    for (const seed of [3, 4, 5]) {
      const rig = rigOf(scout, { seed });
      run(rig, 0.6, 2);
      const current: number[] = [], truth: number[] = [];
      run(rig, 0.6, 2, 1000, () => { current.push(si(rig, CHANNEL.current)); truth.push(rig.truth.current_A); });
      const { gainError, offsetError } = rig.converters[CHANNEL.current];
      expect(Math.abs(mean(current) - (mean(truth) * (1 + gainError) + offsetError))).toBeLessThan(0.003);
    }
  });

  test('sensor errors can outlive a rig: same calibration seed, same errors, other noise', () => {
    const one = rigOf(scout, { seed: 1, calibrationSeed: 9 });
    const two = rigOf(scout, { seed: 2, calibrationSeed: 9 });
    expect(two.converters.map((c) => c.gainError)).toEqual(one.converters.map((c) => c.gainError));
    run(one, 0.4, 0.2);
    run(two, 0.4, 0.2);
    expect([...two.counts]).not.toEqual([...one.counts]);
  });

  test('without noise a reading is the truth to half a count', () => {
    const rig = rigOf(scout, { noise: false });
    run(rig, 0.5, 4);
    for (const [channel, value] of [[CHANNEL.current, rig.truth.current_A], [CHANNEL.voltage, rig.truth.voltage_V]] as const) {
      expect(Math.abs(si(rig, channel) - value)).toBeLessThan(rig.channels[channel].scale + 1e-4 * value);
    }
    expect(Math.abs(si(rig, CHANNEL.thrust) - rig.truth.thrust_N)).toBeLessThan(0.003);
  });
});

describe('current channel', () => {
  const path = (filter_Hz: number | null, average: number): CurrentPath =>
    new CurrentPath({ ...scout.sensors.current, filter_Hz, average }, scout.sensors.rippleShare, 125e-6, 0, 0.1);

  /** Largest error of a 10 ms mean over 1 s: what a slow alias leaves after any honest averaging. */
  function slowError(current: CurrentPath, frequency_Hz: number): number {
    current.setSwitching(frequency_Hz);
    const readings: number[] = [];
    const drive = { current_A: 2, rippleAmplitude_A: 1.5 };
    for (let k = 0; k < 16_000; k++) if (current.step(drive)) readings.push(current.take());
    const perWindow = Math.round(readings.length / 200);
    let worst = 0;
    for (let k = Math.floor(readings.length / 2); k + perWindow <= readings.length; k += perWindow) {
      worst = Math.max(worst, Math.abs(mean(readings.slice(k, k + perWindow)) - 2));
    }
    return worst;
  }

  test('near a multiple of the conversion rate, unfiltered ripple turns into a slow error that averaging does not remove', () => {
    expect(slowError(path(null, 1), 88_010)).toBeGreaterThan(0.15);
    expect(slowError(path(null, 8), 88_010)).toBeGreaterThan(0.15);
  });

  test('filter and averaging together remove it', () => {
    expect(slowError(path(1600, 8), 88_010)).toBeLessThan(0.006);
    expect(slowError(path(1600, 8), 22_000)).toBeLessThan(0.001);
  });

  test('averaging alone removes what falls on a multiple of the reading rate', () => {
    expect(slowError(path(null, 8), 22_000)).toBeLessThan(0.001);
    expect(slowError(path(null, 8), 44_000)).toBeLessThan(0.001);
  });

  test('on the rig: the error depends on the switching frequency without a filter, and hardly with one', () => {
    const error = (filter_Hz: number | null, frequency: number): number => {
      const current = { ...scout.sensors.current, filter_Hz };
      const rig = rigOf({ ...scout, sensors: { ...scout.sensors, current } }, { noise: false });
      rig.setSetting('switching_frequency', frequency);
      run(rig, 0.5, 1);
      const errors: number[] = [];
      run(rig, 0.5, 1, 1000, () => errors.push(si(rig, CHANNEL.current) - rig.truth.current_A));
      return spread(errors);
    };
    expect(error(null, 88_010)).toBeGreaterThan(10 * error(1600, 88_010));
    expect(error(null, 44_000)).toBeLessThan(0.1 * error(null, 88_010));
  });

  test('a single-conversion channel at 125 µs delivers with every tick', () => {
    const current = { ...scout.sensors.current, average: 1 };
    const rig = rigOf({ ...scout, sensors: { ...scout.sensors, current } });
    expect(rig.channels[CHANNEL.current].period_us).toBe(125);
    let fresh = 0;
    run(rig, 0.3, 0.1, 125, () => (fresh += rig.fresh & 1));
    expect(fresh).toBe(800);
  });

  test('clips at the ends of its range', () => {
    const current = { ...scout.sensors.current, max_counts: 4296 };
    const rig = rigOf({ ...scout, sensors: { ...scout.sensors, current } });
    let top = 0;
    run(rig, 1, 0.5, 1000, () => (top = Math.max(top, si(rig, CHANNEL.current))));
    expect(top).toBeCloseTo(2, 9);
  });
});

describe('period telemetry', () => {
  test('keeps the stated number of significant bits: 512..1023 µs in steps of 2', () => {
    const counts = (period_us: number): number => periodCounts((2 * Math.PI) / (period_us * 1e-6), 1e-6, 1, 9, 0);
    expect(counts(300)).toBe(300);
    expect(counts(511)).toBe(511);
    expect(counts(601)).toBe(602);
    expect(counts(1027)).toBe(1028);
    expect(counts(40_000) % 128).toBe(0);
  });

  test('reads "no commutation" at rest and for too slow a rotor, and never above it', () => {
    expect(periodCounts(0.001, 1e-6, 1, 9, 0)).toBe(NO_COMMUTATION);
    expect(periodCounts(Infinity, 1e-6, 1, 9, 0)).toBe(1);
    const rig = rigOf(scout);
    run(rig, 0, 0.2, 20_000);
    expect(rig.counts[CHANNEL.period]).toBe(NO_COMMUTATION);
  });

  test('follows the speed within its resolution, drops about 1 % of frames, and reads "no commutation" while out of step', () => {
    const rig = rigOf(scout, { seed: 11 });
    run(rig, 0.6, 1);
    let seen = 0;
    const speeds: number[] = [];
    run(rig, 0.6, 2, 1000, () => {
      if ((rig.fresh & (1 << CHANNEL.period)) === 0) return;
      seen++;
      speeds.push(60 / (si(rig, CHANNEL.period) * scout.motor.polePairs));
    });
    expect(Math.abs(mean(speeds) / rig.truth.speed_rpm - 1)).toBeLessThan(0.002);
    expect(seen).toBeGreaterThan(1950);
    expect(seen).toBeLessThan(1997);
    rig.inject({ kind: 'desync', duration_s: 0.05 });
    run(rig, 0.6, 0.01);
    expect(rig.counts[CHANNEL.period]).toBe(NO_COMMUTATION);
    run(rig, 0.6, 0.1);
    expect(rig.counts[CHANNEL.period]).toBeLessThan(NO_COMMUTATION);
  });

  test('tells the speed of an instant inside the controller\'s tick, which lies anywhere in the telemetry period from seed to seed', () => {
    const fine: RigParameters = { ...scout, sensors: { ...scout.sensors, period: { ...scout.sensors.period, step: 3e-8 }, periodBits: 30, periodDropout: 0 } };
    const ages: number[] = [];
    for (let seed = 1; seed <= 200; seed++) {
      const { due, early } = rigOf(fine, { seed }).converters[CHANNEL.period];
      ages.push(8 - due + early);
    }
    // Uniform over the eight ticks of a period: mean 4, standard deviation 8/√12; the standard error of the mean is 0.16.
    expect(Math.abs(mean(ages) - 4)).toBeLessThan(0.5);
    expect(Math.abs(spread(ages) - 8 / Math.sqrt(12))).toBeLessThan(0.25);
    expect(new Set(ages.map((a) => a % 1)).size).toBe(200);
    const rig = rigOf(fine, { seed: 6 });
    const { early, gainError } = rig.converters[CHANNEL.period];
    expect(early).toBeGreaterThan(0.05);
    expect(early).toBeLessThan(0.95);
    run(rig, 0.2, 1);
    let before = rig.truth.speed_rpm;
    const shares: number[] = [];
    run(rig, 0.9, 0.04, 125, () => {
      const now = rig.truth.speed_rpm;
      if ((rig.fresh & (1 << CHANNEL.period)) !== 0) shares.push((now - (60 * (1 + gainError)) / (si(rig, CHANNEL.period) * scout.motor.polePairs)) / (now - before));
      before = now;
    });
    expect(shares.length).toBe(40);
    expect(mean(shares)).toBeCloseTo(early, 2);
  });

  test('still reads while the rotor coasts, with growing periods, until it is nearly still', () => {
    const rig = rigOf(scout, { seed: 12 });
    run(rig, 0.5, 1);
    run(rig, 0, 0.1);
    const early = rig.counts[CHANNEL.period];
    run(rig, 0, 0.3);
    expect(rig.counts[CHANNEL.period]).toBeGreaterThan(early);
    expect(rig.counts[CHANNEL.period]).toBeLessThan(NO_COMMUTATION);
    run(rig, 0, 20);
    expect(rig.truth.speed_rpm).toBe(0);
    expect(rig.counts[CHANNEL.period]).toBe(NO_COMMUTATION);
  });
});

describe('load cell', () => {
  test.each([['tiny', tinyClass], ['scout', scout]] as [string, RigParameters][])(
    '%s: rings at its damped frequency with its damping (second-order system: f·√(1−ζ²), logarithmic decrement)', (_, rig) => {
      const cell = new LoadCell({ ...rig.loadCell, hysteresis_N: 0 }, 125e-6);
      const still = { thrust_N: 0, propellerTorque_Nm: 0, unbalance_kgm: 0, speed_radps: 0 };
      cell.deflection_N = 0.05;
      const x: number[] = [];
      for (let k = 0; k < 1600; k++) { cell.step(still); x.push(cell.deflection_N); }
      const crossings: number[] = [];
      const peaks: number[] = [];
      for (let k = 1; k < 1599; k++) {
        if (x[k - 1] < 0 && x[k] >= 0) crossings.push(k - x[k] / (x[k] - x[k - 1]));
        if (x[k] > x[k - 1] && x[k] >= x[k + 1] && x[k] > 1e-5) peaks.push(x[k]);
      }
      const frequency = (crossings.length - 1) / ((crossings[crossings.length - 1] - crossings[0]) * 125e-6);
      const { natural_Hz, damping } = rig.loadCell;
      expect(Math.abs(frequency / (natural_Hz * Math.sqrt(1 - damping ** 2)) - 1)).toBeLessThan(0.005);
      const decrement = Math.log(peaks[0] / peaks[5]) / 5;
      expect(Math.abs(decrement / Math.sqrt(4 * Math.PI ** 2 + decrement ** 2) / damping - 1)).toBeLessThan(0.03);
    });

  test('hysteresis: loading and unloading to the same force differ by twice the play', () => {
    const cell = new LoadCell({ ...scout.loadCell, creepFraction: 0, hysteresis_N: 0.01, damping: 1 }, 125e-6);
    const settle = (thrust_N: number): number => {
      for (let k = 0; k < 4000; k++) cell.step({ thrust_N, propellerTorque_Nm: 0, unbalance_kgm: 0, speed_radps: 0 });
      cell.convert(0.5, null);
      for (let k = 0; k < 100; k++) cell.step({ thrust_N, propellerTorque_Nm: 0, unbalance_kgm: 0, speed_radps: 0 });
      return cell.convert(0.0125, null);
    };
    const up = settle(0.5);
    settle(1);
    const down = settle(0.5);
    expect(down - up).toBeCloseTo(0.02, 6);
  });

  test('the zero walks: its spread grows with the root of time', () => {
    const walked = Array.from({ length: 400 }, (_, seed) => {
      const cell = new LoadCell(scout.loadCell, 125e-6);
      const rng = new Rng(seed + 1, 50);
      let zero = 0;
      for (let k = 0; k < 36; k++) zero = cell.convert(100, rng);
      return zero;
    });
    expect(Math.abs(spread(walked) / scout.loadCell.drift_NperRootHour - 1)).toBeLessThan(0.12);
  });
});

describe('random numbers', () => {
  test('normals have mean 0, variance 1, kurtosis 3 and the right tails; uniforms fill their interval', () => {
    const rng = new Rng(42);
    const n = 400_000;
    let s1 = 0, s2 = 0, s4 = 0, beyond2 = 0, beyond4 = 0, u = 0;
    for (let k = 0; k < n; k++) {
      const z = rng.normal();
      s1 += z; s2 += z * z; s4 += z ** 4;
      if (Math.abs(z) > 2) beyond2++;
      if (Math.abs(z) > 4) beyond4++;
      u += rng.uniform();
    }
    expect(Math.abs(s1 / n)).toBeLessThan(3.3 / Math.sqrt(n));
    expect(Math.abs(s2 / n - 1)).toBeLessThan(3.3 * Math.sqrt(2 / n));
    expect(Math.abs(s4 / n - 3)).toBeLessThan(3.3 * Math.sqrt(96 / n));
    // P(|z| > 2) = 0.0455, P(|z| > 4) = 6.33e-5 (standard normal).
    expect(Math.abs(beyond2 / n - 0.0455)).toBeLessThan(3.3 * Math.sqrt((0.0455 * 0.9545) / n));
    expect(beyond4).toBeGreaterThan(8);
    expect(beyond4).toBeLessThan(50);
    expect(Math.abs(u / n - 0.5)).toBeLessThan(3.3 / Math.sqrt(12 * n));
  });

  test('streams of one seed are unrelated', () => {
    const a = new Rng(7, 1), b = new Rng(7, 2);
    let product = 0;
    for (let k = 0; k < 100_000; k++) product += a.normal() * b.normal();
    expect(Math.abs(product / 100_000)).toBeLessThan(3.3 / Math.sqrt(100_000));
  });
});
