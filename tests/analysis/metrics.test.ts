// Goal: the metrics of single runs are right, and say what they cannot know.
// Method: made-up runs of a drive whose speed, thrust, current and lags are known in closed form, with perfect and with biased sensors.
import { describe, expect, test } from 'vitest';
import type { MetricName } from '../../src/analysis/metrics/catalogue';
import { CATALOGUE, METRIC_NAMES, metricFact } from '../../src/analysis/metrics/catalogue';
import { metricOf, runMetrics, type RunMetrics } from '../../src/analysis/metrics/run-metrics';
import { DRIVE, SCRIPTS, makeRun, seeded, speedForCurrent, thrustAt } from './make-run';

function value(run: RunMetrics, name: MetricName): number {
  const m = metricOf(run, name);
  const v = m?.value ?? null;
  if (v === null) throw new Error(`${name}: ${m?.reason ?? 'not computed'}`);
  return v;
}
const relative = (a: number, b: number): number => Math.abs(a / b - 1);

describe('kv', () => {
  test('KV is speed over voltage at the plateau, no-load current its mean', () => {
    const run = runMetrics(makeRun({ protocol: 'kv', segments: SCRIPTS.kv, drive: { voltage_V: 3, top_rpm: 13_000 } }));
    expect(value(run, 'kv_rpm_per_V')).toBeCloseTo(13_000 / 3, 1);
    expect(value(run, 'no_load_current_A')).toBeCloseTo(4.2, 3);
  });

  test('with the voltage sensed at the supply, the drop along the leads is taken off', () => {
    const at = (voltage_at: 'esc' | 'supply') => runMetrics(makeRun({ protocol: 'kv', segments: SCRIPTS.kv, facts: { voltage_at, lead_resistance_ohm: 0.05 } }));
    expect(value(at('supply'), 'kv_rpm_per_V') / value(at('esc'), 'kv_rpm_per_V')).toBeCloseTo(7.6 / (7.6 - 4.2 * 0.05), 5);
  });

  test('its standard uncertainty is that of both gains together', () => {
    const run = runMetrics(makeRun({ protocol: 'kv', segments: SCRIPTS.kv, sensors: { u_gain: { speed: 0.003, voltage: 0.004 } } }));
    expect((metricOf(run, 'kv_rpm_per_V')?.u ?? 0) / value(run, 'kv_rpm_per_V')).toBeCloseTo(0.005, 4);
  });

  test('Kt is never more than apparent: timing advance is not known from one run', () => {
    expect(metricOf(runMetrics(makeRun({ protocol: 'kv', segments: SCRIPTS.kv })), 'kt_apparent_Nm_per_A')?.flags).toContain('apparent');
  });
});

test('a channel with more than one impossible sample in twenty is told; speed is not, as a motor that stands still shows none', () => {
  const flags = (kind: string, share: number): readonly string[] => {
    const data = makeRun({ protocol: 'kv', segments: SCRIPTS.kv });
    return runMetrics({ ...data, channels: data.channels.map((c) => (c.kind === kind ? { ...c, impossible: Math.round((share * c.value.length) / (1 - share)) } : c)) }).flags.filter((f) => f.includes('impossible'));
  };
  expect(flags('voltage', 0.06)).toHaveLength(1);
  expect(flags('voltage', 0.04)).toHaveLength(0);
  expect(flags('speed', 0.4)).toHaveLength(0);
});

describe('full throttle', () => {
  test('speed, thrust, current, power and their ratio are those of the drive', () => {
    const run = runMetrics(makeRun({ protocol: 'thrust-curve', segments: SCRIPTS.curve }));
    expect(relative(value(run, 'full_throttle_rpm'), DRIVE.top_rpm)).toBeLessThan(1e-4);
    expect(relative(value(run, 'full_throttle_thrust_N'), 1.25)).toBeLessThan(2e-4);
    expect(relative(value(run, 'full_throttle_power_W'), 4.2 * 7.6)).toBeLessThan(3e-4);
    expect(relative(value(run, 'full_throttle_efficacy_N_per_W'), 1.25 / (4.2 * 7.6))).toBeLessThan(3e-4);
  });

  test('offset and drift of the load cell are taken out by the zeros before and after', () => {
    const data = makeRun({ protocol: 'thrust-curve', segments: SCRIPTS.curve, sensors: { offset: { thrust: 0.2 }, zeroDrift_N: 0.05 } });
    const run = runMetrics(data);
    expect(relative(value(run, 'full_throttle_thrust_N'), 1.25)).toBeLessThan(1e-3);
    expect(run.zeroDrift_N).toBeGreaterThan(0.04);
    const without = runMetrics({ ...data, segments: data.segments.filter((s) => !s.segment.role.startsWith('zero')) });
    expect(value(without, 'full_throttle_thrust_N')).toBeGreaterThan(1.44);
    expect(metricOf(without, 'full_throttle_thrust_N')?.flags.join()).toContain('no zero');
  });

  test('a sweep that ends below full throttle gives no full-throttle value', () => {
    const segments = SCRIPTS.curve.map((s) => (s.kind === 'level' && s.throttle === 1 ? { ...s, throttle: 0.9 } : s.kind === 'ramp' && s.to === 1 ? { ...s, to: 0.9 } : s));
    const m = metricOf(runMetrics(makeRun({ protocol: 'thrust-curve', segments })), 'full_throttle_rpm');
    expect(m?.value).toBeNull();
    expect(m?.reason).toContain('90.0 %');
  });

  test('a plateau shorter than 0.5 s gives none either, on both sides of the bound', () => {
    const lasting = (s: number) => metricOf(runMetrics(makeRun({ protocol: 'thrust-curve', segments: SCRIPTS.curve.map((x) => (x.role === 'plateau' ? { ...x, duration_s: s } : x)) })), 'full_throttle_rpm');
    expect(lasting(0.49)?.value).toBeNull();
    expect(lasting(0.51)?.value).toBeCloseTo(DRIVE.top_rpm, -1);
  });
});

describe('response', () => {
  // A first-order lag of time constant τ: 10 to 90 % takes τ·ln 9, 20 to 80 % τ·ln 4, 50 % τ·ln 2 after the dead time.
  const run = runMetrics(makeRun({ protocol: 'response', segments: SCRIPTS.response }));
  test.each([
    ['rise_time_10_90_s', DRIVE.rise_s * Math.log(9)], ['rise_time_20_80_s', DRIVE.rise_s * Math.log(4)],
    ['rise_t50_s', DRIVE.dead_s + DRIVE.rise_s * Math.log(2)], ['rise_t80_s', DRIVE.dead_s + DRIVE.rise_s * Math.log(5)],
    ['fall_time_90_10_s', DRIVE.fall_s * Math.log(9)], ['fall_time_80_20_s', DRIVE.fall_s * Math.log(4)],
    ['fall_t50_s', DRIVE.dead_s + DRIVE.fall_s * Math.log(2)], ['fall_t80_s', DRIVE.dead_s + DRIVE.fall_s * Math.log(5)],
    ['rise_dead_time_s', DRIVE.dead_s + DRIVE.rise_s * Math.log(10 / 9)],
  ] as const)('%s is that of a first-order lag', (name, expected) => {
    expect(Math.abs(value(run, name) - expected)).toBeLessThan(0.0008); // rows are 1 ms apart
  });

  test('a first-order lag does not overshoot, and settles within 5 % after three time constants', () => {
    expect(value(run, 'rise_overshoot')).toBeLessThan(0.001);
    expect(Math.abs(value(run, 'rise_settling_s') - (DRIVE.dead_s + DRIVE.rise_s * Math.log(20)))).toBeLessThan(0.002);
  });

  test('a step with a desync is counted and left out', () => {
    const data = makeRun({ protocol: 'response', segments: SCRIPTS.response });
    const third = data.segments.filter((s) => s.segment.role === 'step-up')[2];
    const speed = data.channels.find((c) => c.kind === 'speed');
    // During the desync the rotor coasts: the third step rises 0.2 s late.
    speed?.value.forEach((_, i) => {
      const t = speed.t_s[i];
      if (t >= third.start_s && t < third.start_s + 0.2) speed.value[i] = speed.value[Math.round(third.start_s / 0.001) - 1];
    });
    const late = runMetrics(data);
    const told = runMetrics({ ...data, desyncs: [{ t_s: third.start_s + 0.1, duration_s: 0.1, ordinal: third.ordinal }] });
    expect(value(late, 'rise_t50_s')).toBeGreaterThan(value(run, 'rise_t50_s') + 0.004);
    expect(value(told, 'rise_t50_s')).toBeCloseTo(value(run, 'rise_t50_s'), 4);
    expect(value(told, 'desyncs')).toBe(1);
    expect(told.stepsLeftOut).toBe(1);
  });

  test('without a speed channel there are no step times, and the reason is given', () => {
    const data = makeRun({ protocol: 'response', segments: SCRIPTS.response });
    const m = metricOf(runMetrics({ ...data, channels: data.channels.filter((c) => c.kind !== 'speed') }), 'rise_t50_s');
    expect(m?.value).toBeNull();
    expect(m?.reason).toContain('no speed channel');
  });
});

describe('hold', () => {
  test('speed, thrust and thrust per watt are those at exactly the target', () => {
    const run = runMetrics(makeRun({ protocol: 'efficiency-hold', segments: SCRIPTS.hold }));
    const rpm = speedForCurrent(DRIVE, 1.4);
    expect(relative(value(run, 'hold_rpm'), rpm)).toBeLessThan(1e-4);
    expect(relative(value(run, 'hold_thrust_N'), thrustAt(DRIVE, rpm))).toBeLessThan(1e-3);
    expect(relative(value(run, 'hold_power_W'), 1.4 * 7.6)).toBeLessThan(1e-4);
    expect(relative(value(run, 'hold_efficacy_N_per_W'), thrustAt(DRIVE, rpm) / (1.4 * 7.6))).toBeLessThan(1e-3);
  });

  test('a loop that stays 1 % beside its target is corrected to within a tenth of the error, with the size reported', () => {
    const segments = SCRIPTS.hold.map((s) => (s.role === 'hold' ? { ...s, target_A: 1.4 * 1.01 } : s));
    const data = makeRun({ protocol: 'efficiency-hold', segments });
    const run = runMetrics({ ...data, segments: data.segments.map((p) => (p.segment.kind === 'hold-current' ? { ...p, segment: { ...p.segment, target_A: 1.4 } } : p)) });
    expect(relative(value(run, 'hold_rpm'), speedForCurrent(DRIVE, 1.4))).toBeLessThan(0.0004);
    expect(value(run, 'hold_correction')).toBeCloseTo(1 / 1.01 - 1, 4);
  });

  test('an error of the current gain stays within the stated uncertainty of speed and thrust', () => {
    // The loop holds what the sensor shows: with a gain of 1.01 the true current is 1.4/1.01.
    const segments = SCRIPTS.hold.map((s) => (s.role === 'hold' ? { ...s, target_A: 1.4 / 1.01 } : s));
    const data = makeRun({ protocol: 'efficiency-hold', segments, sensors: { gain: { current: 1.01 }, u_gain: { current: 0.01 } } });
    const run = runMetrics({ ...data, segments: data.segments.map((p) => (p.segment.kind === 'hold-current' ? { ...p, segment: { ...p.segment, target_A: 1.4 } } : p)) });
    const miss = value(run, 'hold_rpm') - speedForCurrent(DRIVE, 1.4);
    const effect = metricOf(run, 'hold_rpm')?.effects.current_gain ?? 0;
    expect(Math.abs(miss)).toBeGreaterThan(50);
    expect(Math.abs(Math.abs(miss) - Math.abs(effect))).toBeLessThan(0.15 * Math.abs(miss));
    expect(Math.sign(miss)).toBe(Math.sign(effect));
  });

  /** Classical motor and propeller in units of its own: throttle = speed + drop·torque, torque = friction + (1 − friction)·speed² when steady, current = throttle·torque and what the ESC draws. */
  const MOTORS = [{ drop: 0.1, friction: 0.02 }, { drop: 0.3, friction: 0.02 }, { drop: 0.3, friction: 0.1 }, { drop: 0.6, friction: 0.05 }].flatMap((m) => [0, 0.005].map((esc) => ({ ...m, esc })));
  /** How throttle goes with the current held, as told by what an error of its gain does, and in truth. `lag_s`: of speed behind current; 0: both are there at once. */
  const exponents = ({ drop, friction, esc }: (typeof MOTORS)[number], held: number, lag_s: number): { readonly told: number; readonly byMotor: number; readonly truth: number; readonly secant: number } => {
    const torque = (w: number): number => friction + (1 - friction) * w * w;
    const throttle = (w: number, m = torque(w)): number => w + drop * m;
    const amps = (w: number): number => throttle(w) * torque(w) + esc;
    const least = (f: (x: number) => number, wanted: number): number => { let [a, b] = [0, 2]; while (b - a > 1e-12) { const m = (a + b) / 2; if (f(m) < wanted) a = m; else b = m; } return a; };
    const START = 0.1;
    const slow = least(throttle, START);
    const data = makeRun({ protocol: 'efficiency-hold', segments: SCRIPTS.hold, sensors: { u_gain: { current: 0.01 } } });
    const hold = data.segments.find((p) => p.segment.role === 'hold') ?? never();
    const way = (t: number, length_s: number): number => (length_s === 0 ? 1 : 1 - Math.exp(-t / length_s));
    const state = (t: number): { w: number; i: number; u: number } => {
      if (t < hold.start_s) return { w: slow, i: amps(slow), u: START };
      const w = slow + (held - slow) * way(t - hold.start_s, lag_s);
      const i = amps(slow) + (amps(held) - amps(slow)) * way(t - hold.start_s, lag_s / 2);
      // The torque that draws this current at this speed: that of the propeller and what speeds the rotor up.
      const m = least((x) => throttle(w, x) * x + esc, i);
      return { w, i, u: throttle(w, m) };
    };
    const scale = 1.4 / amps(held);
    const changed = data.channels.map((c) => (c.kind === 'current' ? { ...c, value: c.t_s.map((t) => scale * state(t).i) } : c.kind === 'speed' ? { ...c, value: c.t_s.map((t) => 27_000 * state(t).w) } : c));
    const run = runMetrics({ ...data, channels: changed, throttle: { ...data.throttle, value: data.throttle.t_s.map((t) => state(t).u) } });
    const told = (name: MetricName): number => { const m = metricOf(run, name) ?? never(); return -m.effects.current_gain / (0.01 * (m.value ?? NaN)); };
    expect(value(run, 'hold_throttle')).toBeCloseTo(throttle(held), 3);
    const d = 1e-5;
    // By the motor's equation u² = u·speed + drop·(current − esc): at the same speed, and at the same current.
    const both = throttle(held) + drop * torque(held);
    const [alone, perSpeed] = [(drop * torque(held) * amps(held)) / (amps(held) - esc) / both, held / both];
    return {
      told: told('hold_throttle'), byMotor: alone + perSpeed * told('hold_rpm'), truth: Math.log(throttle(held + d) / throttle(held - d)) / Math.log(amps(held + d) / amps(held - d)),
      secant: Math.log(throttle(held) / START) / Math.log(amps(held) / amps(slow)),
    };
  };

  test.each(MOTORS)('throttle at the target: how it goes with the current held is seen on the way up, given how speed goes with it, for a motor with a drop of $drop and friction of $friction behind an ESC that draws $esc', (motor) => {
    for (const held of [0.4, 0.6, 0.8]) {
      const { told, byMotor } = exponents(motor, held, 0.2);
      expect(Math.abs(told / byMotor - 1), `held ${held}: ${byMotor} as ${told}`).toBeLessThan(0.03);
    }
  });

  test.each(MOTORS)('throttle at the target: where the way up shows nothing, midway between bounds that hold the truth, for a motor with a drop of $drop and friction of $friction behind an ESC that draws $esc', (motor) => {
    for (const held of [0.4, 0.6, 0.8]) {
      const { told, truth, secant } = exponents(motor, held, 0);
      expect(told).toBeCloseTo((1 / 3 + Math.min(1, secant)) / 2, 4);
      expect(truth).toBeGreaterThan(1 / 3);
      expect(truth).toBeLessThan(secant);
    }
  });

  test('drift: told where noise carries speed over its steps, and not where they may hide it', () => {
    const data = makeRun({ protocol: 'efficiency-hold', segments: SCRIPTS.hold });
    const hold = data.segments.find((p) => p.segment.role === 'hold') ?? never();
    const DRIFT = -0.001;
    const level = speedForCurrent(DRIVE, 1.4);
    /** With a slow way up to the hold, or without one, on which noise could be seen. */
    const seen = (step: number, noise: () => number, slowly = true) => {
      const speedAt = (t: number, v: number): number => (t >= hold.start_s ? v * (1 + DRIFT * (t - hold.start_s)) : slowly ? level * (0.88 + (0.11 * t) / hold.start_s) : v);
      const channels = data.channels.map((c) => (c.kind !== 'speed' ? c : { ...c, value: c.value.map((v, i) => step * Math.round(speedAt(c.t_s[i], v) / step + noise())) }));
      return metricOf(runMetrics({ ...data, channels }), 'hold_drift_per_s') ?? never();
    };
    const next = seeded(3);
    const noisy = seen(40, () => 3 * (next() - 0.5));
    expect(Math.abs((noisy.value ?? NaN) - DRIFT)).toBeLessThan(4 * (noisy.u ?? NaN));
    expect(noisy.u).toBeLessThan(0.5 * Math.abs(DRIFT));
    const silent = seen(40, () => 0);
    expect(silent.value).toBeNull();
    expect(silent.reason).toMatch(/steps of the speed channel may hide or make up a drift of [\d.e+-]+ % per second/);
    // An edge in the middle of the window shows two levels as often, and a whole step that is not there.
    for (const step of [290, 295, 300, 305, 310]) for (const slowly of [true, false]) expect(seen(step, () => 0, slowly).value, `${step} rpm`).toBeNull();
    // A drift over many steps is told without noise too.
    const steep = seen(4, () => 0);
    expect(Math.abs((steep.value ?? NaN) - DRIFT)).toBeLessThan(2 * (steep.u ?? NaN));
  });

  test('a hold that did not run to its end gives nothing', () => {
    const data = makeRun({ protocol: 'efficiency-hold', segments: SCRIPTS.hold });
    const run = runMetrics({ ...data, segments: data.segments.map((p) => (p.segment.role === 'hold' ? { ...p, ended: 'stopped' } : p)) });
    expect(metricOf(run, 'hold_rpm')?.reason).toContain('did not run to its end');
  });
});

describe('catalogue', () => {
  test('names are unique, snake case, and end in their unit where they have one', () => {
    expect(new Set(METRIC_NAMES).size).toBe(CATALOGUE.length);
    for (const m of CATALOGUE) {
      expect(m.name).toMatch(/^[a-z][a-zA-Z0-9_]*$/);
      if (m.unit !== '1') expect(m.name.endsWith(`_${m.unit.replaceAll('/', '_per_').replace('N m', 'Nm').replace(/^1_per_/, 'per_').replace('rpm_per_V', 'rpm_per_V')}`), m.name).toBe(true);
    }
  });
  test('a key with a label in front finds its metric; an unknown one is refused with the list', () => {
    expect(metricFact('response-2.fall_t80_s').name).toBe('fall_t80_s');
    expect(() => metricFact('thrustiness')).toThrow('full_throttle_rpm');
  });
});

test('every number of a run is finite or null with a reason', () => {
  for (const [protocol, segments] of [['kv', SCRIPTS.kv], ['thrust-curve', SCRIPTS.curve], ['response', SCRIPTS.response], ['efficiency-hold', SCRIPTS.hold]] as const) {
    for (const channels of ['all', 'none'] as const) {
      const data = makeRun({ protocol, segments, sensors: { noise: { speed: 30, thrust: 0.003, current: 0.02, voltage: 0.01 } } });
      for (const m of runMetrics(channels === 'all' ? data : { ...data, channels: [] }).metrics) {
        if (m.value === null) expect(m.reason, m.name).toBeTruthy();
        else expect(Number.isFinite(m.value) && (m.u === null || Number.isFinite(m.u)), m.name).toBe(true);
      }
    }
  }
});

function never(): never {
  throw new Error('the made run lacks it');
}
