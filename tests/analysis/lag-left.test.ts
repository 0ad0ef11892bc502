// Goal: what lag leaves in the mean of two ramps is claimed, whether the drive lags like a first-order one or like a delay.
// Method: a rotor behind a duty ramp, integrated in small steps; its steady course is known in closed form.
import { describe, expect, test } from 'vitest';
import { hoverMetrics, powerAtSpeed, type CurveQuantity, type RunCurve } from '../../src/analysis/metrics/run-curve';

const TOP_rpm = 27_000;
const VOLTS = 7.6;
/**
 * The classical motor with a propeller, y = speed over that at full throttle: dy/dt = A·(u − αy − βy²). Steady course, thrust over speed,
 * and power at a duty and a speed.
 */
const [A, ALPHA, BETA] = [16, 0.6, 0.4];
const steady = (u: number): number => (TOP_rpm * (Math.sqrt(ALPHA ** 2 + 4 * BETA * u) - ALPHA)) / (2 * BETA);
const thrustOf = (rpm: number): number => 1.25 * (rpm / TOP_rpm) ** 2;
const powerOf = (u: number, rpm: number): number => u * VOLTS * (0.1 + 10 * (u - (ALPHA * rpm) / TOP_rpm));

const RATE = 0.3;
const DT = 1e-5;
type Point = { readonly u: number; readonly rpm: number };

/** Speed along a ramp, from the steady state at its start. `step`: speed a moment later, from speed and duty. */
function alongRamp(from: number, to: number, step: (rpm: number, u: number) => number): Point[] {
  const sign = Math.sign(to - from);
  const seconds = Math.abs(to - from) / RATE;
  let rpm = steady(from);
  const out: Point[] = [];
  for (let i = 0; i * DT <= seconds; i++) {
    const u = from + sign * RATE * i * DT;
    rpm = step(rpm, u);
    if (i % 100 === 0) out.push({ u, rpm });
  }
  return out;
}

/** The curve of a sweep as `thrust-curve` makes it, on cells of 1 % of throttle. */
function curveFrom(up: readonly Point[], down: readonly Point[]): RunCurve {
  const quantities: Record<Exclude<CurveQuantity, 'current_A'>, (p: Point) => number> = { thrust_N: (p) => thrustOf(p.rpm), speed_rpm: (p) => p.rpm, power_W: (p) => powerOf(p.u, p.rpm) };
  const x = Array.from({ length: 78 }, (_, i) => 0.12 + 0.01 * i);
  const cells = (points: readonly Point[], of: (p: Point) => number): number[] => x.map((at) => {
    const near = points.filter((p) => Math.abs(p.u - at) < 0.005);
    return near.reduce((s, p) => s + of(p), 0) / near.length;
  });
  const both = Object.fromEntries(Object.entries(quantities).map(([name, of]) => [name, [cells(up, of), cells(down, of)] as const])) as unknown as Record<keyof typeof quantities, readonly [number[], number[]]>;
  const points = (of: (a: number, b: number) => number) => Object.fromEntries([['current_A', null], ...Object.entries(both).map(([name, [a, b]]) => [name, { x, y: a.map((v, i) => of(v, b[i])) }])]) as Record<CurveQuantity, { x: number[]; y: number[] } | null>;
  const fine = points((a, b) => (a + b) / 2);
  return {
    source: 'sweep', throttle: x, values: { thrust_N: fine.thrust_N?.y ?? null, speed_rpm: fine.speed_rpm?.y ?? null, current_A: null, power_W: fine.power_W?.y ?? null },
    scatter: { thrust_N: 0, speed_rpm: 0, current_A: null, power_W: 0 }, fine, apart: points((a, b) => (a - b) / 2), instruments: {}, voltage_V: VOLTS, flags: [],
  };
}

const lagging = (rpm: number, u: number): number => rpm + TOP_rpm * A * (u - (ALPHA * rpm) / TOP_rpm - BETA * (rpm / TOP_rpm) ** 2) * DT;
const first = curveFrom(alongRamp(0.05, 1, lagging), alongRamp(1, 0.05, lagging));
/** A pure delay of 50 ms instead. */
const late = curveFrom(alongRamp(0.05, 1, (_, u) => steady(u - RATE * 0.05)), alongRamp(1, 0.05, (_, u) => steady(u + RATE * 0.05)));
const RECTANGLE = Math.sqrt(3);
/** What is claimed of the mean of both ramps, as the half-width of a rectangle: of the figure's two sources together. */
const claimed = (m: { readonly effects: Readonly<Record<string, number>> }): number => RECTANGLE * Math.hypot(...Object.entries(m.effects).map(([input, e]) => (input.endsWith('_resolution_ramps') ? e : 0)));

describe('what lag leaves in the mean of two ramps', () => {
  test.each([['a rotor of first order', first], ['a pure delay', late]] as const)('hover power, throttle and speed, and power at equal speed, are off by less than is claimed: %s', (_name, curve) => {
    for (const at of [0.4, 0.5, 0.6]) {
      const [watts, throttle, speed] = hoverMetrics(curve, thrustOf(steady(at)));
      const equal = powerAtSpeed(curve, steady(at));
      const off = { watts: (watts.value ?? NaN) - powerOf(at, steady(at)), throttle: (throttle.value ?? NaN) - at, speed: (speed.value ?? NaN) - steady(at), equal: (equal.value ?? NaN) - powerOf(at, steady(at)) };
      expect(Math.abs(off.watts), `power at ${at}`).toBeLessThan(claimed(watts));
      expect(Math.abs(off.throttle), `throttle at ${at}`).toBeLessThan(claimed(throttle));
      expect(Math.abs(off.equal), `power at equal speed, ${at}`).toBeLessThan(claimed(equal));
      expect(Math.abs(off.speed), `speed at ${at}`).toBeLessThan(claimed(speed));
    }
  });

  test('nor is more than five times as much claimed of power at equal speed as it is off', () => {
    const equal = powerAtSpeed(first, steady(0.4));
    expect(Math.abs((equal.value ?? NaN) - powerOf(0.4, steady(0.4)))).toBeGreaterThan(0.2 * claimed(equal));
  });

  test('a load cell that lags much more than speed is claimed too', () => {
    const slow = (by: number) => (u: number): number => thrustOf(steady(u + RATE * by));
    const x = first.throttle;
    const thrust = { up: x.map(slow(-0.045)), down: x.map(slow(0.045)) };
    const rpm = { up: x.map((u) => steady(u - RATE * 0.005)), down: x.map((u) => steady(u + RATE * 0.005)) };
    const both = (a: readonly number[], b: readonly number[], sign: 1 | -1) => ({ x, y: a.map((v, i) => (v + sign * b[i]) / 2) });
    const none = { current_A: null, power_W: null };
    const fine = { ...none, thrust_N: both(thrust.up, thrust.down, 1), speed_rpm: both(rpm.up, rpm.down, 1) };
    const curve: RunCurve = { ...first, values: { ...none, thrust_N: fine.thrust_N.y, speed_rpm: fine.speed_rpm.y }, fine, apart: { ...none, thrust_N: both(thrust.up, thrust.down, -1), speed_rpm: both(rpm.up, rpm.down, -1) } };
    for (const at of [0.3, 0.5, 0.7]) {
      const [, throttle] = hoverMetrics(curve, thrustOf(steady(at)));
      expect(Math.abs((throttle.value ?? NaN) - at), `${at}`).toBeLessThan(claimed(throttle));
    }
  });

  test('speed is what lags: thrust and speed are wrong together, so speed at hover is touched less', () => {
    const [, throttle, speed] = hoverMetrics(first, thrustOf(steady(0.5)));
    const common = ({ effects }: { readonly effects: Readonly<Record<string, number>> }): number => Math.abs(effects.lag_resolution_ramps);
    const alone = (common(throttle) * (steady(0.501) - steady(0.499))) / 0.002;
    expect(common(speed)).toBeLessThan(0.5 * alone);
  });

  /** Second order over first order times its share of speed, in closed form: d is the time constant 1/(A·(α + 2βy)) times the rate, H = −d·s′. */
  const secondToFirst = (u: number): number => {
    const slope = (f: (u: number) => number) => (at: number): number => (f(at + 1e-4) - f(at - 1e-4)) / 2e-4;
    const s = slope(steady);
    const h = (at: number): number => (-RATE / (A * (ALPHA + (2 * BETA * steady(at)) / TOP_rpm))) * s(at);
    return Math.abs((steady(u) / h(u)) * ((1.5 * slope(h)(u)) / s(u) - (0.5 * h(u) * slope(s)(u)) / s(u) ** 2));
  };

  test.each([0.35, 0.5])('claimed is the share of speed of half the distance of the ramps, times two thirds of the factor that the ramps show, at %s; for power once with speed and once by itself', (at) => {
    const half = (q: 'speed_rpm' | 'power_W'): number => (first.apart?.[q]?.y ?? never())[Math.round(100 * at) - 12];
    const equal = powerAtSpeed(first, steady(at));
    const own = (Math.abs(half('speed_rpm') / steady(at)) * half('power_W')) / RECTANGLE;
    const factor = equal.effects.power_W_resolution_ramps / own;
    expect(factor / ((2 / 3) * secondToFirst(at))).toBeGreaterThan(0.85);
    expect(factor / ((2 / 3) * secondToFirst(at))).toBeLessThan(1.15);
    expect(Math.abs(equal.effects.lag_resolution_ramps)).toBeGreaterThan(Math.abs(equal.effects.power_W_resolution_ramps));
    const { apart: _, ...levels } = first;
    expect(claimed(powerAtSpeed(levels, steady(at)))).toBe(0);
  });

  test('two thirds of the second order come off: a third of it is left of speed at a throttle, and less than half of thrust', () => {
    // At equal speed of the mean curve, uncorrected, the second order shows as a shift of throttle; a third of it is left.
    for (const at of [0.4, 0.6]) {
      const cells = first.fine?.speed_rpm ?? never();
      const raw = (Array.from(cells.y)[Math.round(100 * at) - 12] ?? NaN) - steady(at);
      const [, throttle, speed] = hoverMetrics({ ...first, fine: { ...(first.fine ?? never()), thrust_N: { x: cells.x, y: Array.from(cells.x, (u) => thrustOf(steady(u))) } }, apart: { ...(first.apart ?? never()), thrust_N: null } }, thrustOf(steady(at)));
      expect(throttle.value).toBeCloseTo(at, 3);
      const left = (speed.value ?? NaN) - steady(throttle.value ?? NaN);
      expect(left / raw).toBeGreaterThan(0.2);
      expect(left / raw).toBeLessThan(0.45);
    }
  });

  test('claimed is never less than a quarter, nor more than two thirds of twice: a drive that shows no second order, and one that shows too much', () => {
    const x = first.throttle;
    const with_ = (speed: readonly number[], apart: readonly number[]): RunCurve => ({ ...first, values: { ...first.values, speed_rpm: speed }, fine: { ...(first.fine ?? never()), speed_rpm: { x, y: speed } }, apart: { ...(first.apart ?? never()), speed_rpm: { x, y: apart } } });
    const factorOf = (curve: RunCurve): number => {
      const { effects } = powerAtSpeed(curve, 13_500);
      const [power, share] = [(first.apart?.power_W?.y ?? never())[38], 0.01];
      return effects.power_W_resolution_ramps / ((share * power) / RECTANGLE);
    };
    const line = x.map((u) => 27_000 * u);
    const [least, most] = [factorOf(with_(line, x.map(() => -135))), factorOf(with_(line, x.map((u) => -135 - 27_000 * 0.1 * (u - 0.5))))];
    expect(least / 0.25).toBeGreaterThan(0.85);
    expect(least / 0.25).toBeLessThan(1.15);
    // One of nine cells at the rim of the window may be in or out: the mean of the second is a tenth off then.
    expect(most / (4 / 3)).toBeGreaterThan(0.85);
    expect(most / (4 / 3)).toBeLessThan(1.2);
  });

  test('without speed half the share of thrust itself takes its place', () => {
    const blind = { ...first, values: { ...first.values, speed_rpm: null } };
    const [, throttle] = hoverMetrics(blind, thrustOf(steady(0.5)));
    const [, seeing] = hoverMetrics(first, thrustOf(steady(0.5)));
    expect(claimed(throttle) / claimed(seeing)).toBeCloseTo(1, 1);
  });
});

function never(): never {
  throw new Error('the curve has no cells');
}
