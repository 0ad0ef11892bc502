// Goal: curves over throttle, starts and soaks are measured right, and lag does not pass for hysteresis.
// Method: made-up runs whose steady curve, lag and time constants are known in closed form.
import { describe, expect, test } from 'vitest';
import { metricOf, runMetrics, type RunMetrics } from '../../src/analysis/metrics/run-metrics';
import { curveOf, powerAtSpeed } from '../../src/analysis/metrics/run-curve';
import type { MetricName } from '../../src/analysis/metrics/catalogue';
import { resolutionOf } from '../../src/analysis/metrics/resolution';
import { sweepOf } from '../../src/analysis/metrics/sweep';
import { lagOf, lagReading, levelsOf, thrustTilt } from '../../src/analysis/metrics/sweep-lag';
import { between, channelOf, type RunChannel, type RunData } from '../../src/analysis/run-data';
import { COLUMN_OF } from '../../src/model/channel';
import type { Segment } from '../../src/model/segment';
import { DRIVE, SCRIPTS, currentAt, makeRun, normals, thrustAt } from './make-run';

const value = (run: RunMetrics, name: MetricName): number => {
  const m = metricOf(run, name);
  if (m === null) throw new Error(`${name} is not computed`);
  return m.value ?? NaN;
};
const NOISE = { speed: 60, thrust: 0.004, current: 0.03, voltage: 0.01 };
const sweep = (over = {}) => runMetrics(makeRun({ protocol: 'thrust-curve', segments: SCRIPTS.curve, drive: { rise_s: 0.05, fall_s: 0.05, dead_s: 0 }, sensors: { noise: NOISE }, ...over }));

describe('sweep', () => {
  const run = sweep();
  const { curve } = run;

  test('thrust, speed, current and power are the steady ones within 0.5 % of full, although the ramps lag by 1 % of throttle', () => {
    if (curve === null) throw new Error('no curve');
    for (const x of [0.1, 0.15, 0.2, 0.4, 0.6, 0.8, 0.95, 1]) {
      const rpm = DRIVE.top_rpm * x ** DRIVE.shape;
      expect(Math.abs((curveOf(curve, 'thrust_N')?.at(x) ?? NaN) - thrustAt(DRIVE, rpm)) / 1.25, `thrust at ${x}`).toBeLessThan(0.005);
      expect(Math.abs((curveOf(curve, 'speed_rpm')?.at(x) ?? NaN) - rpm) / DRIVE.top_rpm, `speed at ${x}`).toBeLessThan(0.005);
      expect(Math.abs((curveOf(curve, 'power_W')?.at(x) ?? NaN) - 7.6 * currentAt(DRIVE, rpm)) / 32, `power at ${x}`).toBeLessThan(0.005);
    }
  });

  test('the curves never fall', () => {
    for (const values of Object.values(curve?.values ?? {})) values?.forEach((v, i) => { if (i > 0) expect(v).toBeGreaterThanOrEqual(values[i - 1]); });
  });

  test('the lag of the ramps is the time constant of the drive', () => {
    expect(value(run, 'ramp_lag_s')).toBeCloseTo(0.05, 2);
  });

  test('lag alone leaves no hysteresis: under 1.5 % of full thrust, where the ramps themselves lie 2 to 4 % apart', () => {
    expect(Math.abs(value(run, 'curve_hysteresis'))).toBeLessThan(0.015);
  });

  describe('a load cell that drags by more at the top', () => {
    const made = makeRun({ protocol: 'thrust-curve', segments: SCRIPTS.curve, drive: { rise_s: 0.05, fall_s: 0.05, dead_s: 0 } });
    const down = made.segments.find((s) => s.segment.role === 'ramp-down');
    if (down === undefined) throw new Error('no ramp down');
    const length_s = down.end_s - down.start_s;
    const drag = (t_s: number, by_N: number): number => (t_s < down.start_s || t_s > down.end_s ? 0 : by_N * (0.5 - (t_s - down.start_s) / length_s));
    const dragged = (by_N: number): RunData => ({ ...made, channels: made.channels.map((c) => (c.kind !== 'thrust' ? c : { ...c, value: c.value.map((v, i) => v + drag(c.t_s[i], by_N)) })) });
    const blind = (data: RunData): RunData => ({ ...data, channels: data.channels.filter((c) => c.kind !== 'speed') });
    const hysteresis = (data: RunData) => metricOf(runMetrics(data), 'curve_hysteresis');

    test('shows as hysteresis with its sign where speed is not measured', () => {
      const [none, tilted] = [0, 0.02].map((by) => hysteresis(blind(dragged(by)))?.value ?? NaN);
      // 0.02 N over the whole ramp of 1.25 N at the top, of which the middle four fifths are looked at.
      expect((tilted - none) / ((0.8 * 0.02) / 1.25)).toBeGreaterThan(0.6);
      expect((tilted - none) / ((0.8 * 0.02) / 1.25)).toBeLessThan(1.4);
    });

    test('is no hysteresis of the drive where the square of speed says so, and is told when it is large', () => {
      const [none, some, more] = [0, 0.005, 0.03].map((by) => hysteresis(dragged(by)));
      expect(some?.value).toBe(none?.value);
      expect(more?.value).toBe(none?.value);
      expect(none?.flags).toEqual([]);
      expect(some?.flags).toEqual([]);
      expect(more?.flags).toEqual([expect.stringMatching(/^thrust itself shows -?\d\.\d % of hysteresis and the square of speed -?\d\.\d %: the stand drags, or the load cell creeps$/)]);
    });

    test('is told from a drive that is slower on the way down, which speed shows', () => {
      const warm: RunData = { ...made, channels: made.channels.map((c) => (c.kind !== 'speed' ? c : { ...c, value: c.value.map((v, i) => v * (1 - drag(c.t_s[i], 0.02))) })) };
      // Speed lower by 1 % at the top of the way down and higher by 1 % at its low end, where thrust is next to nothing.
      const moved = (hysteresis(warm)?.value ?? NaN) - (hysteresis(made)?.value ?? NaN);
      expect(moved).toBeLessThan(-0.01);
      expect(moved).toBeGreaterThan(-0.03);
    });
  });

  test('hover: throttle, power and thrust per watt where thrust is 0.42 N', () => {
    const rpm = DRIVE.top_rpm * Math.sqrt(0.42 / 1.25);
    const watts = 7.6 * currentAt(DRIVE, rpm);
    expect(value(run, 'speed_at_hover_rpm') / rpm - 1).toBeCloseTo(0, 2);
    expect(Math.abs(value(run, 'power_at_hover_W') / watts - 1)).toBeLessThan(0.01);
    expect(Math.abs(value(run, 'throttle_at_hover') / (rpm / DRIVE.top_rpm) ** (1 / DRIVE.shape) - 1)).toBeLessThan(0.01);
    expect(value(run, 'efficacy_at_hover_N_per_W')).toBeCloseTo(0.42 / value(run, 'power_at_hover_W'), 6);
  });

  test('a thrust gain that reads high makes hover power read low, by what the effect says', () => {
    const u = 0.01;
    const low = sweep({ sensors: { noise: NOISE, gain: { thrust: 1 + u }, u_gain: { thrust: u } } });
    const effect = metricOf(low, 'power_at_hover_W')?.effects.thrust_gain ?? 0;
    const moved = value(low, 'power_at_hover_W') - value(run, 'power_at_hover_W');
    expect(moved).toBeLessThan(0);
    expect(Math.abs(moved / effect - 1)).toBeLessThan(0.1);
  });

  test('a hover thrust beyond the sweep gives no figure but the reason', () => {
    const m = metricOf(sweep({ facts: { hover_thrust_N: 2 } }), 'power_at_hover_W');
    expect(m?.value).toBeNull();
    expect(m?.reason).toContain('outside what the sweep reached');
  });

  test('power at equal speed is that of the steady drive there', () => {
    const m = powerAtSpeed(curve, 15_000);
    expect(Math.abs((m.value ?? NaN) / (7.6 * currentAt(DRIVE, 15_000)) - 1)).toBeLessThan(0.01);
    expect(powerAtSpeed(curve, 40_000).reason).toContain('outside');
    expect(powerAtSpeed(curve, null).value).toBeNull();
  });

  test('what is claimed of lag in the mean of two ramps grows with the square of their rate', () => {
    const left = (r: RunMetrics): number => Math.abs(powerAtSpeed(r.curve, 15_000).effects.lag_resolution_ramps ?? NaN);
    const exact = (over = {}) => sweep({ sensors: { noise: {} }, ...over });
    const slow = exact({ segments: SCRIPTS.curve.map((s) => (s.kind === 'ramp' ? { ...s, duration_s: 4 * s.duration_s } : s)) });
    expect(slow.curve).not.toBeNull();
    expect(left(exact()) / left(slow)).toBeGreaterThan(8);
    expect(left(exact()) / left(slow)).toBeLessThan(32);
  });

  test('where the lag changes over speed, a coarse speed does not know between which levels its mean was taken', () => {
    const made = makeRun({ protocol: 'thrust-curve', segments: SCRIPTS.curve, drive: { rise_s: 0.05, fall_s: 0.05, dead_s: 0 } });
    const s = sweepOf(made);
    if (!s.ok) throw new Error(s.reason);
    const { up, down, rate } = s.value;
    const STEP_rpm = 300;
    const speedAt = (t: number, now: number): number => {
      const [ramp, sign] = t >= up.segment.start_s && t < up.segment.end_s ? [up, -1] : t >= down.segment.start_s && t < down.segment.end_s ? [down, 1] : [null, 0];
      if (ramp === null) return now;
      const x = ramp.from - sign * rate * (t - ramp.segment.start_s);
      return DRIVE.top_rpm * Math.max(0, x + sign * rate * (0.02 + 0.1 * x)) ** DRIVE.shape;
    };
    const speed = channelOf(made, 'speed')!;
    const coarse: RunChannel = { ...speed, value: speed.value.map((v, i) => STEP_rpm * Math.round(speedAt(speed.t_s[i], v) / STEP_rpm)) };
    const told = lagReading(coarse, coarse, s.value)!;
    expect(told.value).toBe(lagOf(coarse, s.value));
    const effects = Object.entries(told.effects);
    // At the low level the next step is too far to be seen for one.
    expect(effects.map(([input]) => input)).toEqual([expect.stringMatching(/^speed_resolution_27000$/)]);
    const size = Math.hypot(...effects.map(([, effect]) => effect));
    // The lag rises from 20 to 120 ms: half a step more at the top moves the mean by what the band gains there.
    const moved = (by: number): number => lagOf({ t_s: coarse.t_s, value: coarse.value.map((v, i) => (coarse.t_s[i] >= s.value.plateau.start_s && coarse.t_s[i] < s.value.plateau.end_s ? v + by : v)) }, s.value)!;
    const [from, to] = [s.value.plateau.start_s + 0.4, s.value.plateau.start_s + 0.9];
    const u = resolutionOf(coarse, between(coarse, from, to).value, levelsOf(coarse, s.value)!.high);
    // Half a step as a rectangle, as far as the ramps show that there is no noise.
    expect(u / (STEP_rpm / 2 / Math.sqrt(3))).toBeGreaterThan(0.9);
    expect(u / (STEP_rpm / 2 / Math.sqrt(3))).toBeLessThanOrEqual(1);
    expect(Math.abs(size / ((moved(u) - moved(-u)) / 2) - 1)).toBeLessThan(0.01);
    expect(size).toBeGreaterThan(1e-4);
    const fine = lagReading(speed, speed, s.value)!;
    expect(Math.max(0, ...Object.values(fine.effects).map(Math.abs))).toBeLessThan(1e-6);
  });

  /** Shown in steps of so many rpm, or as nine significant bits of a period of six pole pairs in microseconds; the grid moved by a share of a step. */
  const even = (step: number) => (v: number, place: number): number => step * Math.round(v / step + place) - place * step;
  const nineBits = (v: number, place: number): number => {
    const clock = 1 + place / 300;
    const period = (clock * 1e7) / v;
    const keep = 2 ** Math.max(0, Math.floor(Math.log2(period)) - 8);
    return (clock * 1e7) / (keep * Math.round(period / keep));
  };
  const STEPS = [
    { name: 'steps of 40 rpm', show: even(40), top_rpm: 27_000 }, { name: 'steps of 80 rpm', show: even(80), top_rpm: 27_000 }, { name: 'steps of 150 rpm', show: even(150), top_rpm: 27_000 },
    { name: 'nine bits up to 27,000 rpm', show: nineBits, top_rpm: 27_000 }, { name: 'nine bits up to 54,000 rpm', show: nineBits, top_rpm: 54_000 }, { name: 'nine bits up to 90,000 rpm', show: nineBits, top_rpm: 90_000 },
  ];
  test.each(STEPS)('$name on ramps without noise: the hysteresis is off by less than is claimed, and not by much less', ({ show, top_rpm }) => {
    const made = makeRun({ protocol: 'thrust-curve', segments: SCRIPTS.curve, drive: { top_rpm, rise_s: 0.05, fall_s: 0.05, dead_s: 0 } });
    const s = sweepOf(made);
    if (!s.ok) throw new Error(s.reason);
    const speed = channelOf(made, 'speed')!;
    const tilt = (channel: RunChannel) => thrustTilt(null, { channel, series: channel }, s.value)!.reading;
    const fine = tilt(speed);
    const told = Array.from({ length: 24 }, (_, k) => {
      const { value, effects } = tilt({ ...speed, value: speed.value.map((v) => (v > 100 ? show(v, k / 24) : v)) });
      return { off: value - fine.value, u: Math.hypot(...Object.values(effects)) };
    });
    const square = (of: (t: (typeof told)[number]) => number): number => Math.sqrt(told.reduce((sum, t) => sum + of(t) ** 2, 0) / told.length);
    expect(Math.max(...told.map((t) => Math.abs(t.off) / t.u))).toBeLessThan(Math.sqrt(3));
    expect(square((t) => t.u)).toBeGreaterThan(square((t) => t.off));
    expect(square((t) => t.u)).toBeLessThan(6 * square((t) => t.off));
    expect(Math.max(0, ...Object.values(fine.effects).map(Math.abs))).toBeLessThan(1e-6);
  });

  test('no hysteresis without speed and without thrust', () => {
    const made = makeRun({ protocol: 'thrust-curve', segments: SCRIPTS.curve });
    const s = sweepOf(made);
    expect(s.ok && thrustTilt(null, null, s.value)).toBeNull();
  });

  test('thrust of a propeller goes with the square of speed', () => {
    expect(value(run, 'thrust_exponent')).toBeCloseTo(2, 1);
  });

  test('a load cell that is slower than the speed signal does not bend the exponent', () => {
    const made = makeRun({ protocol: 'thrust-curve', segments: SCRIPTS.curve, drive: { rise_s: 0.05, fall_s: 0.05, dead_s: 0 } });
    const late = (by_s: number) => value(runMetrics({ ...made, channels: made.channels.map((c) => (c.kind !== 'thrust' ? c : { ...c, t_s: c.t_s.map((t) => t + by_s) })) }), 'thrust_exponent');
    expect(Math.abs(late(0) - 2)).toBeLessThan(2e-4);
    for (const by_s of [-0.02, 0.02, 0.04]) expect(Math.abs(late(by_s) - late(0)), `${by_s} s`).toBeLessThan(3e-4);
  });

  test('ramps of different slope are refused: their lag does not cancel', () => {
    const m = metricOf(sweep({ segments: SCRIPTS.curve.map((s) => (s.role === 'ramp-down' ? { ...s, duration_s: 2 } : s)) }), 'ramp_lag_s');
    expect(m?.reason).toContain('differ in slope');
  });

  test('CT needs the air, and is T/(ρn²D⁴)', () => {
    expect(metricOf(run, 'thrust_coefficient')?.reason).toContain('not stated');
    const air = { temperature_degC: 20, pressure_Pa: 101_325, humidity: 0.5 };
    // 1.199 kg/m³ at 20 °C, 101325 Pa, 50 %: CIPM-2007, Picard et al., Metrologia 45 (2008) 149.
    const expected = 1.25 / (1.1989 * (27_000 / 60) ** 2 * 0.0762 ** 4);
    expect(value(sweep({ facts: { air } }), 'thrust_coefficient') / expected - 1).toBeCloseTo(0, 2);
  });

  // UIUC Propeller Data Site, volume 1 (Brandt & Selig, AIAA 2011-1255): static run of a 10 x 4.7 propeller; rpm, CT, CP. Thrust, power
  // and figure of merit at 1.225 kg/m³ follow from the definitions and from momentum theory.
  test.each([[6528, 0.1299, 0.0531, 7.84039, 88.56984, 0.703492], [4029, 0.1158, 0.0466, 2.66239, 18.27379, 0.67471], [2377, 0.1059, 0.0431, 0.84747, 3.47069, 0.63798]])(
    'a static propeller table at %i rpm comes back from thrust and torque as CT, CP, figure of merit, and thrust in standard air', (rpm, ct, cp, thrust, power, fom) => {
      const diameter = 0.254;
      const rho = 1.2255213; // dry air of 15 °C at 101325 Pa by CIPM-2007 (Picard et al., Metrologia 45 (2008) 149)
      const share = rho / 1.225;
      const made = makeRun({
        protocol: 'thrust-curve', segments: SCRIPTS.curve, drive: { top_rpm: rpm, thrust_per_rpm2: (share * thrust) / rpm ** 2 },
        facts: { propeller_diameter_m: diameter, air: { temperature_degC: 15, pressure_Pa: 101_325, humidity: 0 } },
      });
      const speed = channelOf(made, 'speed');
      if (speed === null) throw new Error('no speed');
      const atTop = (share * power) / ((rpm * 2 * Math.PI) / 60);
      const torque: RunChannel = { ...speed, kind: 'torque', column: 'torque_Nm', value: speed.value.map((v) => atTop * (v / rpm) ** 2) };
      const m = runMetrics({ ...made, channels: [...made.channels, torque] });
      expect(value(m, 'thrust_coefficient') / ct - 1).toBeCloseTo(0, 4);
      expect(value(m, 'power_coefficient') / cp - 1).toBeCloseTo(0, 4);
      expect(value(m, 'figure_of_merit') / fom - 1).toBeCloseTo(0, 4);
      expect(value(m, 'full_throttle_thrust_standard_air_N') / thrust - 1).toBeCloseTo(0, 4);
    });

  test('without a torque channel there is no CP and no figure of merit', () => {
    const m = sweep({ facts: { air: { temperature_degC: 20, pressure_Pa: 101_325, humidity: 0.5 } } });
    for (const name of ['power_coefficient', 'figure_of_merit'] as const) expect(metricOf(m, name)?.reason).toContain('no torque channel');
  });
});

describe('staircase', () => {
  const at = [0.7, 0.1, 1, 0.4];
  const segments: Segment[] = at.map((throttle, i) => ({ kind: 'level', throttle, duration_s: 2, label: 'l', role: 'level', tags: { level: i + 1, throttle, pass: 1, discard_s: 1 } }));
  test('each level gives its steady values, in order of throttle', () => {
    const { curve } = runMetrics(makeRun({ protocol: 'staircase', segments: [{ kind: 'rest', duration_s: 1, label: 'z', role: 'zero-before' }, ...segments] }));
    expect(curve?.throttle).toEqual([0.1, 0.4, 0.7, 1]);
    curve?.throttle.forEach((x, i) => {
      const rpm = DRIVE.top_rpm * x ** DRIVE.shape;
      expect(curve.values.thrust_N?.[i]).toBeCloseTo(thrustAt(DRIVE, rpm), 4);
      expect(curve.values.power_W?.[i]).toBeCloseTo(7.6 * currentAt(DRIVE, rpm), 3);
    });
  });
  test('one level alone makes no curve', () => {
    const run = runMetrics(makeRun({ protocol: 'staircase', segments: segments.slice(0, 1) }));
    expect(run.curve).toBeNull();
    expect(run.flags.join()).toContain('1 levels');
  });
});

describe('spin-up', () => {
  const start = (n: number): Segment => ({
    kind: 'wait-until', throttle: 0.15, until: { channel: 'speed', is: 'above', value: 1000, for_s: 0.02 }, duration_s: 2, label: `start ${n}`, role: 'start',
    tags: { start: n, speed_rpm: 1000, steady_s: 0.02, within_s: 2 },
  });
  test('a speed that reads too much is seen to be reached too soon, by what the gain is said to do to it', () => {
    const segments = Array.from({ length: 6 }, (_, i): Segment[] => [{ kind: 'rest', duration_s: 1, label: 'r', role: 'rest' }, start(i + 1)]).flat();
    const at = (gain: number, offset = 0) => {
      const data = makeRun({ protocol: 'spin-up', segments, sensors: { gain: { speed: gain }, u_gain: { speed: 0.02 }, offset: { speed: offset }, u_offset: { speed: 20 } } });
      return metricOf(runMetrics({ ...data, segments: data.segments.map((s) => (s.segment.role !== 'start' ? s : { ...s, ended: 'asked', end_s: s.start_s + 0.12 })) }), 'time_to_speed_s')!;
    };
    const [true_, high, low] = [at(1), at(1.02), at(0.98)];
    expect(high.value! - low.value!).toBeLessThan(0);
    expect((2 * true_.effects.speed_gain) / (high.value! - low.value!)).toBeGreaterThan(0.9);
    expect((2 * true_.effects.speed_gain) / (high.value! - low.value!)).toBeLessThan(1.1);
    const offset = (2 * true_.effects.speed_offset) / (at(1, 20).value! - at(1, -20).value!);
    expect(offset).toBeGreaterThan(0.9);
    expect(offset).toBeLessThan(1.1);
  });

  test('a start that ran into its bound has failed; times count only the others', () => {
    const segments = Array.from({ length: 10 }, (_, i): Segment[] => [{ kind: 'rest', duration_s: 1, label: 'r', role: 'rest' }, start(i + 1)]).flat();
    const data = makeRun({ protocol: 'spin-up', segments });
    const run = runMetrics({ ...data, segments: data.segments.map((s, i) => (i === 7 || s.segment.role !== 'start' ? s : { ...s, ended: 'asked', end_s: s.start_s + 0.12 })) });
    expect(run.starts).toEqual({ tried: 10, succeeded: 9 });
    expect(value(run, 'start_success')).toBe(0.9);
    // A first-order lag reaches the share x of its end after τ·ln(1/(1 − x)); rows are 1 ms apart.
    const expected = DRIVE.dead_s + DRIVE.rise_s * Math.log(1 / (1 - 1000 / (DRIVE.top_rpm * 0.15 ** DRIVE.shape)));
    expect(Math.abs(value(run, 'time_to_speed_s') - expected)).toBeLessThan(0.0008);
    // Wilson's interval for 9 of 10: 0.596 to 0.982 (Newcombe, Statistics in Medicine 17 (1998) 857, method 3, computed from the formula).
    expect(metricOf(run, 'start_success')?.method).toContain('0.596 to 0.982');
  });
});

describe('soak', () => {
  const hold: Segment = { kind: 'hold-power', target_W: 10, duration_s: 300, label: 'soak', role: 'soak' };
  const made = (tau: number) => {
    const data = makeRun({ protocol: 'soak', segments: [hold], row_s: 0.05 });
    const noise = normals(3);
    const t_s = Float64Array.from({ length: 3000 }, (_, i) => i * 0.1);
    const value = t_s.map((t) => 24 + 40 * (1 - Math.exp(-t / tau)) + 0.05 * noise());
    const channel = { ...data.channels[0], kind: 'motor_temperature' as const, column: COLUMN_OF.motor_temperature, t_s, value, placement: 'motor case' };
    return runMetrics({ ...data, channels: [...data.channels, channel] });
  };
  test('time constant, settled rise and rise are those of the exponential', () => {
    const run = made(70);
    expect(value(run, 'thermal_time_constant_s') / 70 - 1).toBeCloseTo(0, 2);
    expect(value(run, 'settled_rise_K')).toBeCloseTo(40, 0);
    expect(value(run, 'temperature_rise_K')).toBeCloseTo(39, 0);
    expect(metricOf(run, 'final_temperature_degC')?.method).toContain('winding is hotter');
  });
  test('a soak shorter than the time constant is flagged as an extrapolation', () => {
    expect(metricOf(made(400), 'thermal_time_constant_s')?.flags.join()).toContain('extrapolation');
    expect(metricOf(made(250), 'thermal_time_constant_s')?.flags.join()).not.toContain('extrapolation');
  });
  test('a coarse speed that shows the same value at both ends has hidden two errors, and the same two in every repeat', () => {
    const data = makeRun({ protocol: 'soak', segments: [hold], row_s: 0.05 });
    // Half a step of 100 rpm as a rectangle at either end; in between other values show how large a step is.
    const driftFrom = (rpm: number) => {
      const speed = data.channels.find((c) => c.kind === 'speed') ?? data.channels[0];
      const shown = { ...speed, value: speed.t_s.map((t) => (t > 100 && t < 200 ? rpm + 100 * Math.round(Math.sin(t)) : rpm)) };
      return metricOf(runMetrics({ ...data, channels: [shown] }), 'soak_speed_drift');
    };
    const drift = driftFrom(20_000);
    expect(drift?.value).toBe(0);
    expect(Math.abs((drift?.u ?? 0) - (Math.SQRT2 * 100) / Math.sqrt(12) / 20_000)).toBeLessThan(1e-9);
    expect(Object.keys(drift?.effects ?? {}).filter((input) => input.includes('resolution')).sort()).toEqual(['speed_resolution_first', 'speed_resolution_last']);
    expect(Object.keys(driftFrom(20_100)?.effects ?? {})).toEqual(Object.keys(drift?.effects ?? {}));
  });
});
