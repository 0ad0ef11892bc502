/** What a run shows over throttle: thrust, speed, current and power on a common grid, monotone, lag taken out. */
import { isotonic } from '../curves/isotonic';
import { crossingOf, localParabola, type Points } from '../curves/local';
import { invert, pchip, type Curve } from '../curves/pchip';
import type { ChannelKind } from '../../model/channel';
import { channelOf, type RunData } from '../run-data';
import type { MetricName } from './catalogue';
import type { ThrustZero } from './common';
import { derived, metric, noMetric, type Effects, type Reading, type RunMetric } from './reading';

/** The quantities of a curve. */
export const CURVE_QUANTITIES = ['thrust_N', 'speed_rpm', 'current_A', 'power_W'] as const;
export type CurveQuantity = (typeof CURVE_QUANTITIES)[number];

/** Instrument uncertainty of a channel as far as a curve needs it. */
export type Instrument = { readonly u_gain: number; readonly u_offset: number };

/** Curves of one run. Values belong to the throttles of the same index; null where the rig has no such channel. */
export type RunCurve = {
  readonly source: 'sweep' | 'staircase';
  readonly throttle: readonly number[];
  readonly values: Readonly<Record<CurveQuantity, readonly number[] | null>>;
  /** Scatter of the samples about the fit, in the quantity's unit: it describes the fit, it is no interval. */
  readonly scatter: Readonly<Record<CurveQuantity, number | null>>;
  /** Means over narrow cells of throttle, for reading the curve at one place; absent where only the values above are known. */
  readonly fine?: Readonly<Record<CurveQuantity, Points | null>>;
  /** Half of what the two ramps of a sweep differ by, on the cells of `fine`; absent where the curve comes from levels. */
  readonly apart?: Readonly<Record<CurveQuantity, Points | null>>;
  readonly instruments: Readonly<Partial<Record<ChannelKind, Instrument>>>;
  /** Mean voltage at the ESC over the curve, V. */
  readonly voltage_V: number | null;
  readonly flags: readonly string[];
};

/** Instruments of a run; a load cell with a zero has no offset left. */
export function instrumentsOf(data: RunData, zero: ThrustZero): RunCurve['instruments'] {
  return Object.fromEntries(data.channels.map((c) => [c.kind, { u_gain: c.u_gain, u_offset: c.kind === 'thrust' && zero.taken !== 'none' ? 0 : c.u_offset }]));
}

/** A quantity of a curve as a function of throttle; null when it was not measured. */
export function curveOf(curve: RunCurve, quantity: CurveQuantity): Curve | null {
  const values = curve.values[quantity];
  return values === null ? null : pchip(curve.throttle, isotonic(values));
}

/** Half-width of the window that a figure at one place is read from, in throttle: part of what the metrics mean. */
const WINDOW = 0.04;

/** A curve near a throttle: a parabola through the cells around it, or where there are none, the fit over the whole range. */
type Near = { readonly at: (x: number) => number; readonly slopeAt: (x: number) => number; readonly errorAt: (x: number) => number };

function near(curve: RunCurve, quantity: CurveQuantity, throttle: number): Near | null {
  const cells = curve.fine?.[quantity] ?? null;
  const inRange = cells !== null && cells.x.length > 0 && throttle >= cells.x[0] && throttle <= cells.x[cells.x.length - 1];
  const local = inRange ? localParabola(cells, throttle, WINDOW) : null;
  if (local !== null) return local;
  const whole = curveOf(curve, quantity);
  return whole === null ? null : { at: whole.at, slopeAt: (x) => slopeAt(whole, x), errorAt: () => curve.scatter[quantity] ?? 0 };
}

const slopeAt = (c: Curve, x: number): number => {
  const h = 0.01 * (c.to - c.from);
  const a = Math.max(c.from, x - h);
  const b = Math.min(c.to, x + h);
  return (c.at(b) - c.at(a)) / (b - a);
};

/** The throttle at which a quantity has a value: found on the fit over the whole range, then on the parabola there. */
function throttleFor(curve: RunCurve, quantity: CurveQuantity, value: number): { readonly ok: true; readonly reading: Reading } | { readonly ok: false; readonly reason: string } {
  const whole = curveOf(curve, quantity);
  if (whole === null) return { ok: false, reason: 'the rig does not measure it' };
  const rough = invert(whole, value);
  if (rough.x === null) return { ok: false, reason: `outside what the sweep reached: ${rough.reason}` };
  let x = rough.x;
  // The window moves with the answer once, so that both come from the same place.
  for (let k = 0; k < 2; k++) {
    const cells = curve.fine?.[quantity] ?? null;
    const local = cells === null ? null : localParabola(cells, x, WINDOW);
    x = (local === null ? null : crossingOf(local, value + lagAdds(curve, quantity, x), x)) ?? x;
  }
  const here = near(curve, quantity, x);
  const slope = here?.slopeAt(x) ?? 0;
  if (here === null || !(slope > 0)) return { ok: false, reason: 'where the curve is flat' };
  const asked: Reading = { value, within: here.errorAt(x), effects: { ...effectsOf(curve, quantity, value), ...lagLeft(curve, quantity, x) } };
  return { ok: true, reading: derived(x, [[asked, -1 / slope]]) };
}

const HOVER = ['power_at_hover_W', 'throttle_at_hover', 'speed_at_hover_rpm', 'efficacy_at_hover_N_per_W'] as const satisfies readonly MetricName[];
const HOVER_METHOD = 'read where the thrust curve gives the hover thrust, on parabolas through the mean of both ramps within ±4 % of throttle';

/** Metrics at a thrust: throttle, power, speed and thrust per watt there. */
export function hoverMetrics(curve: RunCurve | null, hover_N: number | null): RunMetric[] {
  const none = (reason: string): RunMetric[] => HOVER.map((n) => noMetric(n, reason));
  if (curve === null) return none('the run gives no curve over throttle');
  if (hover_N === null) return none('neither the article nor a craft states the hover thrust');
  if (curve.values.thrust_N === null) return none('the rig has no thrust channel');
  const found = throttleFor(curve, 'thrust_N', hover_N);
  if (!found.ok) return none(`the hover thrust of ${hover_N.toPrecision(3)} N is ${found.reason}`);
  const throttle = found.reading;
  const power = readAt(curve, 'power_W', throttle);
  const speed = readAt(curve, 'speed_rpm', throttle);
  const one = (name: MetricName, reading: Reading | null, method = HOVER_METHOD): RunMetric =>
    (reading === null ? noMetric(name, 'the rig does not measure it') : metric(name, reading, method, curve.flags));
  return [
    one('power_at_hover_W', power), one('throttle_at_hover', throttle), one('speed_at_hover_rpm', speed),
    // The hover thrust is a stated number; what is uncertain is the power at which it was reached.
    one('efficacy_at_hover_N_per_W', power === null || !(power.value > 0) ? null : derived(hover_N / power.value, [[power, -hover_N / power.value ** 2]]), `${HOVER_METHOD}; hover thrust over power`),
  ];
}

/** Electrical power where the speed curve reaches a speed that all settings share: equal load, so a difference is pure loss. */
export function powerAtSpeed(curve: RunCurve | null, speed_rpm: number | null): RunMetric {
  const none = (reason: string): RunMetric => noMetric('power_at_equal_speed_W', reason);
  if (curve === null) return none('the run gives no curve over throttle');
  if (speed_rpm === null) return none('no reference speed: the baseline gives none at hover');
  if (curve.values.speed_rpm === null) return none('the rig has no speed channel');
  const found = throttleFor(curve, 'speed_rpm', speed_rpm);
  if (!found.ok) return none(`the reference speed of ${speed_rpm.toFixed(0)} rpm is ${found.reason}`);
  const power = readAt(curve, 'power_W', found.reading);
  return power === null ? none('the rig does not measure power') : metric('power_at_equal_speed_W', power, `read where the speed curve gives ${speed_rpm.toFixed(0)} rpm, on parabolas through the mean of both ramps within ±4 % of throttle`, curve.flags);
}

/** A quantity at a throttle that is itself uncertain. */
function readAt(curve: RunCurve, quantity: CurveQuantity, throttle: Reading): Reading | null {
  const c = near(curve, quantity, throttle.value);
  if (c === null) return null;
  const value = c.at(throttle.value) - lagAdds(curve, quantity, throttle.value);
  const itself: Reading = { value, within: c.errorAt(throttle.value), effects: { ...effectsOf(curve, quantity, value), ...lagLeft(curve, quantity, throttle.value) } };
  return derived(value, [[itself, 1], [throttle, c.slopeAt(throttle.value)]]);
}

/** The second order of lag is to its first as the share of the level that the lag is worth, times a factor of this at most. */
const MOST_SECOND = 2;
/** So much of the second order comes off, and so much of it or this factor, whichever is more, is claimed as the half-width of a rectangle. */
const OFF = 2 / 3;
const LEAST_LEFT = 0.25;

/**
 * The factor of the second order near a throttle, as the ramps themselves show it; null without speed. A rotor whose torque falls in a
 * straight line with speed under a load that goes with the square of speed shows s − d·s′ + d²s″ + ³⁄₂·d·d′·s′ on a ramp (s its steady
 * course over throttle, d its time constant times the rate). With the first order H = −d·s′, half of what the ramps differ by, the second
 * order is H·(³⁄₂·H′/s′ − ½·H·s″/s′²), or H·H/s times this factor. For s = x^p with p of ⅔ or more, and a time constant that falls with
 * speed no faster than its inverse, it lies between −2 and 0.
 */
function secondToFirst(curve: RunCurve, throttle: number): number | null {
  const [cells, apart] = [curve.fine?.speed_rpm ?? null, curve.apart?.speed_rpm ?? null];
  const [speed, half] = [cells, apart].map((points) => (points === null ? null : localParabola(points, throttle, WINDOW)));
  if (speed === null || half === null) return null;
  const [s, slope, bend] = [speed.at(throttle), speed.slopeAt(throttle), (speed.slopeAt(throttle + WINDOW) - speed.slopeAt(throttle - WINDOW)) / (2 * WINDOW)];
  const h = half.at(throttle);
  const factor = (s / h) * ((1.5 * half.slopeAt(throttle)) / slope - (0.5 * h * bend) / slope ** 2);
  return Number.isFinite(factor) ? Math.min(MOST_SECOND, Math.max(-MOST_SECOND, factor)) : null;
}

/** Half of what the ramps differ by near a throttle, up less down; null where the curve has no ramps. */
function halfApart(curve: RunCurve, of: CurveQuantity, throttle: number): number | null {
  const apart = curve.apart?.[of] ?? null;
  const cells = apart === null ? [] : Array.from(apart.y).filter((_, i) => Math.abs(apart.x[i] - throttle) <= WINDOW);
  return cells.length === 0 ? null : cells.reduce((sum, y) => sum + y, 0) / cells.length;
}

/** H/s: half of what the ramps differ by as a share of the mean of both. */
const shareApart = (curve: RunCurve, of: CurveQuantity, throttle: number): number => (halfApart(curve, of, throttle) ?? 0) / (near(curve, of, throttle)?.at(throttle) ?? NaN) || 0;

/**
 * What lag adds to the mean of two ramps, as far as it is taken off. Power and current at a given duty go in a straight line with speed
 * (a motor behind a bridge), so their second order is to their first as that of speed. Thrust goes with the square of speed, whose mean
 * is more than the square of its mean by H². A drive is not quite that rotor: two thirds come off, which leaves as much for one whose second
 * order is nothing as is claimed, and half as much for one that has all of it.
 */
function lagAdds(curve: RunCurve, quantity: CurveQuantity, throttle: number): number {
  const factor = secondToFirst(curve, throttle);
  const share = shareApart(curve, 'speed_rpm', throttle);
  const own = halfApart(curve, quantity, throttle);
  const level = near(curve, quantity, throttle);
  if (factor === null || own === null || level === null) return 0;
  return quantity === 'thrust_N' ? level.at(throttle) * share ** 2 * (2 * OFF * factor + 1) : OFF * factor * share * own;
}

/**
 * What lag leaves in the mean of two ramps. Its first order, H up and −H down, cancels between them; its second, H times H/s times a
 * factor, does not. As a rectangle (JCGM 100:2008, 4.3.7) its standard uncertainty is that over √3. Speed is what lags, and moves everything
 * with it, so that error is one for all quantities. Some have one of their own: thrust, as its load cell may lag more than speed does; power
 * and current, which at a given duty are no straight line over speed, as much again. Another error at every setting, as the curve bends
 * a little differently there.
 */
function lagLeft(curve: RunCurve, quantity: CurveQuantity, throttle: number): Effects {
  const own = halfApart(curve, quantity, throttle);
  if (own === null) return {};
  // A thrust lags by as much as speed where it is off by twice as much.
  const [speed, itself] = [Math.abs(shareApart(curve, 'speed_rpm', throttle)), Math.abs(shareApart(curve, quantity, throttle)) / (quantity === 'thrust_N' ? 2 : 1)];
  const share = speed === 0 ? itself : quantity === 'thrust_N' ? Math.max(speed, itself) : speed;
  const factor = secondToFirst(curve, throttle);
  const unit = (share * own) / Math.sqrt(3);
  const u = unit * (factor === null ? MOST_SECOND : Math.max(LEAST_LEFT, OFF * Math.abs(factor)));
  const alone = quantity === 'speed_rpm' ? 0 : quantity === 'thrust_N' ? unit / 2 : u;
  return { lag_resolution_ramps: u, ...(alone === 0 ? {} : { [`${quantity}_resolution_ramps`]: alone }) };
}

/** What one standard uncertainty of each instrument does to a value of a curve. */
export function effectsOf(curve: Pick<RunCurve, 'instruments' | 'voltage_V'>, quantity: CurveQuantity, value: number): Effects {
  const own = (kind: ChannelKind, of: number, perOffset = 1): Record<string, number> => {
    const i = curve.instruments[kind];
    return i === undefined ? {} : { [`${kind}_gain`]: of * i.u_gain, ...(i.u_offset === 0 ? {} : { [`${kind}_offset`]: perOffset * i.u_offset }) };
  };
  switch (quantity) {
    case 'thrust_N': return own('thrust', value);
    case 'speed_rpm': return own('speed', value);
    case 'current_A': return own('current', value);
    case 'power_W': {
      const volts = curve.voltage_V ?? 0;
      return { ...own('current', value, volts), ...own('voltage', value, volts > 0 ? value / volts : 0) };
    }
  }
}

/** Whether a rig measures a quantity at all. */
export const measures = (data: RunData, quantity: CurveQuantity): boolean => {
  const has = (kind: ChannelKind): boolean => channelOf(data, kind) !== null;
  return quantity === 'thrust_N' ? has('thrust') : quantity === 'speed_rpm' ? has('speed') : quantity === 'current_A' ? has('current') : has('current') && has('voltage');
};
