/** The throttle map between any two curves, with how well repeats tell it. */
import type { ResultCurve } from '../../model/results';
import { matchThrottle } from '../curves/expo';
import { noResult, type NoResult } from '../stats/check';
import { outOfReach, responseOver } from './match';

/** What is made equal. */
export const MATCHED = { thrust: 'thrust_N', speed: 'speed_rpm', power: 'power_W' } as const;
export type Matched = keyof typeof MATCHED;

const DIMENSIONS = { thrust: 'force', speed: 'speed', power: 'power' } as const;

/** A curve over throttle, of one run or the mean of several. */
export type MatchedCurve = Pick<ResultCurve, 'throttle' | 'thrust_N' | 'speed_rpm' | 'power_W'>;

export type MatchedRow = {
  readonly old: number;
  /** What the old one gives there, in the quantity's SI unit. */
  readonly response: number;
  /** Throttle at which the new one gives it; null with the reason where it cannot. */
  readonly new: number | null;
  /** Standard uncertainty of `new` from the repeats of both; null where a single run tells no spread. */
  readonly u_new: number | null;
  /** What the new one gives behind the expo, less the response. */
  readonly error: number | null;
  readonly reason: string | null;
};

export type CurveMatch = {
  readonly ok: true;
  /** Which way it maps. */
  readonly direction: 'old throttle → new throttle';
  /** e of y = (1−e)x + e·x³ and whether it stands at the end of −0.5..1; null with the reason. */
  readonly expo: number | null;
  readonly expo_limited: boolean;
  readonly expo_reason: string | null;
  /** Left behind the expo and without it, largest, in the quantity's unit. */
  readonly worst_error: number | null;
  readonly worst_uncompensated: number;
  readonly rows: readonly MatchedRow[];
};

/**
 * Matches the new curve to the old one at equal thrust, speed or power.
 * @param rows rows of the table from 0 to full throttle, 3 or more
 */
export function matchCurves(from: MatchedCurve, to: MatchedCurve, by: Matched, rows = 21): CurveMatch | NoResult {
  const of = MATCHED[by];
  const a = responseOver(from, of);
  const b = responseOver(to, of);
  if (a === null || b === null) return noResult(`the ${a === null ? 'first' : 'second'} has no curve of ${by} over throttle up to full throttle; a run of thrust-curve or staircase gives one`);
  const match = matchThrottle(a, b, rows);
  return {
    ok: true, direction: match.direction, ...(match.expo.ok ? { expo: match.expo.e, expo_limited: match.expo.limited, expo_reason: null } : { expo: null, expo_limited: false, expo_reason: match.expo.reason }),
    worst_error: match.worstResponseError, worst_uncompensated: match.worstUncompensated,
    rows: match.rows.map((r) => ({
      old: r.oldThrottle, response: r.response, new: r.newThrottle, u_new: r.newThrottle === null ? null : throttleU(from, to, of, r.oldThrottle, r.newThrottle, (x) => b.at(x)),
      error: r.errorAfterExpo, reason: r.reason === null ? null : outOfReach(b, DIMENSIONS[by]),
    })),
  };
}

/** Half a step of throttle for the slope. */
const H = 0.01;

/** First order: the uncertainty of both responses over the slope of the new curve (JCGM 100:2008, 5.1.2). */
function throttleU(from: MatchedCurve, to: MatchedCurve, of: (typeof MATCHED)[Matched], x: number, y: number, at: (x: number) => number): number | null {
  const u = [uAt(from, of, x), uAt(to, of, y)];
  const low = Math.max(0, y - H);
  const high = Math.min(1, y + H);
  const slope = (at(high) - at(low)) / (high - low);
  return u[0] === null || u[1] === null || !(slope > 0) ? null : Math.hypot(u[0], u[1]) / slope;
}

/** Between the points of the curve along a straight line; below its first point in proportion to throttle. */
function uAt({ throttle, ...curve }: MatchedCurve, of: (typeof MATCHED)[Matched], x: number): number | null {
  const u = curve[of]?.u ?? [];
  const i = throttle.findIndex((t) => t >= x);
  const right = u[i < 0 ? throttle.length - 1 : i] ?? null;
  if (right === null || i < 0) return right;
  if (i === 0) return throttle[0] > 0 ? (right * x) / throttle[0] : right;
  const left = u[i - 1] ?? null;
  return left === null ? null : left + ((right - left) * (x - throttle[i - 1])) / (throttle[i] - throttle[i - 1]);
}
