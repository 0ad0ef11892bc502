/** The throttle of one setting that feels like another's. */
import type { Dimension } from '../../units/dimensions';
import { formatQuantity } from '../../units/format';
import type { ResultCurve, ResultMatch } from '../../model/results';
import { matchThrottle } from '../curves/expo';
import { pchip, type Curve } from '../curves/pchip';

/** A quantity over throttle from 0 to 1: at zero throttle there is none. Null when the curve does not reach full throttle. */
export function responseOver(curve: Pick<ResultCurve, 'throttle' | 'thrust_N' | 'speed_rpm' | 'power_W'>, of: 'thrust_N' | 'speed_rpm' | 'power_W' = 'thrust_N'): Curve | null {
  const { throttle } = curve;
  const band = curve[of];
  if (band === null || throttle.length < 2 || throttle[throttle.length - 1] < 0.999) return null;
  const values = band.mean;
  if (values.some((v) => v === null)) return null;
  const y = (values as number[]).map((v) => Math.max(0, v));
  return throttle[0] > 0 ? pchip([0, ...throttle.slice(0, -1), 1], [0, ...y]) : pchip([...throttle.slice(0, -1), 1], y);
}

/** Why a row has no new throttle, with the most that the new curve gives. */
export const outOfReach = (to: Curve, dimension: Dimension): string => `the new one gives at most ${formatQuantity(to.at(to.to), dimension, { digits: 4 })}`;

/** The table and the expo that make `to` feel like `from`; a reason where the curves do not allow it. */
export function matchOf(from: ResultCurve | undefined, to: ResultCurve | undefined): ResultMatch | null {
  if (from === undefined || to === undefined || from.setting === to.setting) return null;
  const empty = {
    from: from.setting, to: to.setting, direction: 'old throttle → new throttle', quantity: 'thrust', expo: null, expo_limited: false, rms_error: null,
    worst_error: null, worst_uncompensated: null, rows: [],
  };
  const a = responseOver(from);
  const b = responseOver(to);
  if (a === null || b === null) return { ...empty, reason: 'a thrust curve up to full throttle is needed of both settings' };
  const match = matchThrottle(a, b);
  return {
    ...empty, direction: match.direction,
    ...(match.expo.ok ? { expo: match.expo.e, expo_limited: match.expo.limited, rms_error: match.expo.rmsError } : {}),
    worst_error: match.worstResponseError, worst_uncompensated: match.worstUncompensated,
    rows: match.rows.map((r) => ({ old: r.oldThrottle, response: r.response, new: r.newThrottle, error: r.errorAfterExpo, reason: r.reason === null ? null : outOfReach(b, 'force') })),
    reason: match.expo.ok ? null : match.expo.reason,
  };
}
