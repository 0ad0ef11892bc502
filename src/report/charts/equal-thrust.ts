// Electrical power of two settings at the same thrust: the same propeller at the same thrust is the same load, so the
// difference is loss alone. Out of the mean curves over throttle.
import type { ResultCurve } from '../../model/results';

/** A point of the comparison: power of the one less that of the other over that of the other, in percent; `u` null without repeats. */
export type EqualThrust = { readonly thrust_N: number; readonly percent: number; readonly u: number | null };

/** Points over the thrust that both reach. */
const POINTS = 41;
/** Below this share of full thrust the power is hardly more than what idling takes, and so is their ratio. */
const FROM = 0.1;

type Reading = { readonly power: number; readonly u: number | null };

/**
 * Power of `one` against `other` at equal thrust. Standard uncertainties are those of repeats; scatter of thrust moves the
 * place on the power curve and is carried over by the slope, as if independent of that of power (JCGM 100:2008, 5.1.2).
 * Empty where a curve lacks thrust or power or the two share no thrust.
 */
export function powerAtEqualThrust(one: ResultCurve, other: ResultCurve): EqualThrust[] {
  const a = powerOver(one);
  const b = powerOver(other);
  if (a === null || b === null) return [];
  const top = Math.min(a.to, b.to);
  const from = Math.max(a.from, b.from, FROM * top);
  if (!(top > from)) return [];
  return Array.from({ length: POINTS }, (_, i) => from + ((top - from) * i) / (POINTS - 1)).flatMap((thrust_N): EqualThrust[] => {
    const x = a.at(thrust_N);
    const y = b.at(thrust_N);
    if (!(x.power > 0 && y.power > 0)) return [];
    const ratio = x.power / y.power;
    return [{ thrust_N, percent: 100 * (ratio - 1), u: x.u === null || y.u === null ? null : 100 * ratio * Math.hypot(x.u / x.power, y.u / y.power) }];
  });
}

/** Power over thrust by straight lines between the points of a curve, where thrust rises. */
function powerOver({ thrust_N, power_W }: ResultCurve): { from: number; to: number; at: (thrust: number) => Reading } | null {
  if (thrust_N === null || power_W === null) return null;
  const points: { thrust: number; power: number; uThrust: number | null; uPower: number | null }[] = [];
  thrust_N.mean.forEach((thrust, i) => {
    const power = power_W.mean[i] ?? null;
    if (thrust === null || power === null || thrust <= (points.at(-1)?.thrust ?? -Infinity)) return;
    points.push({ thrust, power, uThrust: thrust_N.u[i] ?? null, uPower: power_W.u[i] ?? null });
  });
  if (points.length < 2) return null;
  const at = (thrust: number): Reading => {
    let i = 1;
    while (i < points.length - 1 && points[i].thrust < thrust) i++;
    const [low, high] = [points[i - 1], points[i]];
    const slope = (high.power - low.power) / (high.thrust - low.thrust);
    const share = (thrust - low.thrust) / (high.thrust - low.thrust);
    const near = share < 0.5 ? low : high;
    return { power: low.power + slope * (thrust - low.thrust), u: near.uThrust === null || near.uPower === null ? null : Math.hypot(near.uPower, slope * near.uThrust) };
  };
  return { from: points[0].thrust, to: points[points.length - 1].thrust, at };
}
