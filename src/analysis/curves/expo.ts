/**
 * Throttle shaping by the cubic expo y = (1 − e)·x + e·x³ on 0..1, and matching a new drivetrain's curve to an old one's.
 * Direction, throughout: **old throttle in, new throttle out**. Feeding the output to the new drivetrain gives what the old
 * one gave at the input.
 */
import { noResult, requireFinite, requireSameLength, type NoResult, type Numbers } from '../stats/check';
import { invert, type Curve } from './pchip';

/** Range of e within which the expo rises everywhere on 0..1. */
export const EXPO_MIN = -0.5;
export const EXPO_MAX = 1;

/** Output of an expo e for an input 0..1. */
export function expo(x: number, e: number): number {
  checkExpo(e);
  if (!(x >= 0 && x <= 1)) throw new RangeError(`expo input ${x} is outside 0..1`);
  return (1 - e) * x + e * x ** 3;
}

/** Input 0..1 for which the expo e gives y (0..1): Newton steps kept inside a shrinking bracket. */
export function expoInverse(y: number, e: number): number {
  checkExpo(e);
  if (!(y >= 0 && y <= 1)) throw new RangeError(`expo output ${y} is outside 0..1`);
  let low = 0;
  let high = 1;
  let x = y;
  for (let i = 0; i < 100; i++) {
    const miss = (1 - e) * x + e * x ** 3 - y;
    if (miss === 0) return x;
    if (miss > 0) high = x; else low = x;
    const slope = 1 - e + 3 * e * x * x;
    const next = x - miss / slope;
    const inside = next > low && next < high ? next : (low + high) / 2;
    if (Math.abs(inside - x) <= 1e-16) return inside;
    x = inside;
  }
  return x;
}

/** An expo fitted to pairs, and how much shape it leaves over. */
export type ExpoFit = {
  readonly ok: true;
  readonly e: number;
  /** True when the best e lay outside −0.5..1 and was held at the end. */
  readonly limited: boolean;
  /** Remaining error in output throttle: root-mean-square and largest. */
  readonly rmsError: number;
  readonly worstError: number;
  readonly worstAt: number;
};

/** Least-squares e for pairs (x in, y out), both 0..1. */
export function fitExpo(x: Numbers, y: Numbers): ExpoFit | NoResult {
  requireSameLength(x, y, 'x and y');
  requireFinite(x, 'x');
  requireFinite(y, 'y');
  let top = 0;
  let bottom = 0;
  for (let i = 0; i < x.length; i++) {
    if (x[i] < 0 || x[i] > 1) throw new RangeError(`x[${i}] = ${x[i]} is outside 0..1`);
    const shape = x[i] ** 3 - x[i];
    top += (y[i] - x[i]) * shape;
    bottom += shape * shape;
  }
  if (bottom === 0) return noResult('no pair lies between 0 and 1, where the expo has a shape');
  const best = top / bottom;
  const e = Math.min(EXPO_MAX, Math.max(EXPO_MIN, best));
  let square = 0;
  let worstError = 0;
  let worstAt = x[0];
  for (let i = 0; i < x.length; i++) {
    const miss = y[i] - expo(x[i], e);
    square += miss * miss;
    if (Math.abs(miss) > Math.abs(worstError)) { worstError = miss; worstAt = x[i]; }
  }
  return { ok: true, e, limited: e !== best, rmsError: Math.sqrt(square / x.length), worstError: Math.abs(worstError), worstAt };
}

/** One row of a compensation table. */
export type MatchRow = {
  readonly oldThrottle: number;
  /** Response of the old drivetrain there, the wanted one. */
  readonly response: number;
  /** Throttle at which the new one gives it; null where it cannot. */
  readonly newThrottle: number | null;
  readonly reason: string | null;
  /** What the new drivetrain gives behind the fitted expo, minus the wanted response; null without an expo. */
  readonly errorAfterExpo: number | null;
};

/** A compensation: the table, and the expo that comes nearest to it. */
export type ThrottleMatch = {
  readonly direction: 'old throttle → new throttle';
  readonly rows: readonly MatchRow[];
  readonly expo: ExpoFit | NoResult;
  /** Largest |errorAfterExpo|, in the response's unit; null without an expo. */
  readonly worstResponseError: number | null;
  /** Largest |response difference| with no compensation at all. */
  readonly worstUncompensated: number;
};

/**
 * Finds, for each old throttle, the new throttle with the same response (e.g. thrust, or thrust over full thrust for the same
 * feel), and the expo nearest to that table.
 * @param oldCurve,newCurve non-decreasing response over throttle 0..1
 * @param points rows from 0 to 1; 21 unless given
 */
export function matchThrottle(oldCurve: Curve, newCurve: Curve, points = 21): ThrottleMatch {
  if (!(Number.isInteger(points) && points >= 3)) throw new RangeError(`a table needs 3 or more rows, got ${points}`);
  for (const c of [oldCurve, newCurve]) if (c.from < 0 || c.to > 1) throw new RangeError(`a throttle curve spans 0..1, got ${c.from}..${c.to}`);
  const inputs = Array.from({ length: points }, (_, i) => oldCurve.from + ((oldCurve.to - oldCurve.from) * i) / (points - 1));
  const matched = inputs.map((x) => ({ x, response: oldCurve.at(x), found: invert(newCurve, oldCurve.at(x)) }));
  const usable = matched.flatMap(({ x, found }) => (found.x === null ? [] : [{ x, y: found.x }]));
  const fitted = fitExpo(usable.map((p) => p.x), usable.map((p) => p.y));
  const rows = matched.map(({ x, response, found }): MatchRow => ({
    oldThrottle: x, response, newThrottle: found.x, reason: found.reason,
    errorAfterExpo: fitted.ok ? newCurve.at(expo(x, fitted.e)) - response : null,
  }));
  return {
    direction: 'old throttle → new throttle', rows, expo: fitted,
    worstResponseError: fitted.ok ? Math.max(...rows.map((r) => Math.abs(r.errorAfterExpo ?? 0))) : null,
    worstUncompensated: Math.max(...matched.map(({ x, response }) => Math.abs(newCurve.at(x) - response))),
  };
}

function checkExpo(e: number): void {
  if (!(e >= EXPO_MIN && e <= EXPO_MAX)) throw new RangeError(`expo ${e} is outside ${EXPO_MIN}..${EXPO_MAX}, where the curve rises everywhere`);
}
