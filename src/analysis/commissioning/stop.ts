/** How a stop went, from the record: when the throttle was zero, and when the motor stood. */
import type { RunData } from '../run-data';
import { firstAt } from '../run-data';

/** Time of the first row from `from_s` on in which the throttle is zero and stays so to the end, s; null when it never is. */
export function zeroThrottleAt(data: Pick<RunData, 'throttle'>, from_s: number): number | null {
  const { t_s, value } = data.throttle;
  let first = value.length;
  while (first > 0 && value[first - 1] === 0) first--;
  if (first === value.length) return null;
  const start = firstAt(t_s, from_s);
  return t_s[Math.max(first, Math.min(start, value.length - 1))];
}

/** Time of the first sample after `from_s` that lies above a limit, s; null when none does. */
export function firstAbove(series: { readonly t_s: Float64Array; readonly value: Float64Array }, limit: number, from_s: number): number | null {
  for (let i = firstAt(series.t_s, from_s); i < series.value.length; i++) if (series.value[i] > limit) return series.t_s[i];
  return null;
}
