/** Thrust over speed with the zero of the load cell free. */
import { fitNonlinear } from '../stats/nonlinear';
import { around, type Interval } from '../stats/interval';
import { noResult, type NoResult, type Numbers } from '../stats/check';
import { coverageFactor } from '../stats/quantiles';

/** thrust = zero + k·(rpm/reference)^exponent. */
export type LawAboveZero = {
  readonly ok: true;
  readonly zero_N: number;
  readonly exponent: number;
  readonly uExponent: number;
  readonly exponentInterval: Interval;
  /** `holds`: the exponent's interval lies within 2 ± tolerance. `fails`: outside. `too coarse`: the stand cannot say. */
  readonly square: 'holds' | 'fails' | 'too coarse';
  readonly text: string;
};

/**
 * Fits zero, factor and exponent by least squares in thrust: an offset of the load cell, which a straight line in logarithms would
 * take for another exponent, is found along with it.
 * @param speed_rpm,thrust_N points over a wide range of speed, all speeds above 0
 * @param tolerance how far from 2 still counts as "∝ rpm²"
 */
export function fitLawAboveZero(speed_rpm: Numbers, thrust_N: Numbers, tolerance = 0.1, confidence = 0.95): LawAboveZero | NoResult {
  const n = speed_rpm.length;
  if (n < 5) return noResult(`${n} points cannot show zero, factor and exponent with an uncertainty; 5 or more are needed`);
  const top = Math.max(...Array.from(speed_rpm));
  const most = Math.max(...Array.from(thrust_N));
  if (!(most > 0)) return noResult('no thrust was measured');
  const fit = fitNonlinear(Array.from(speed_rpm, (v) => v / top), thrust_N, ([zero, k, exponent]) => (z) => zero + k * z ** exponent, {
    start: [0, most, 2], lower: [-most, 0.01 * most, 0.3], upper: [most, 100 * most, 8], nearStart: true,
  });
  if (!fit.ok) return noResult(`no power of speed describes thrust: ${fit.reason}`);
  if (fit.standardErrors === null) return noResult('no points are left to judge the fit by');
  const [zero_N, , exponent] = fit.parameters;
  const uExponent = fit.standardErrors[2];
  const half = coverageFactor(confidence, fit.dof) * uExponent;
  const off = Math.abs(exponent - 2);
  const square = off + half <= tolerance ? 'holds' : off - half > tolerance ? 'fails' : 'too coarse';
  const figures = `exponent ${exponent.toFixed(3)} ± ${half.toFixed(3)}`;
  return {
    ok: true, zero_N, exponent, uExponent, exponentInterval: around(exponent, half, confidence), square,
    text: square === 'holds' ? `thrust follows rpm² (${figures})`
      : square === 'fails' ? `thrust does not follow rpm² here (${figures})`
        : `this stand is too coarse to tell whether thrust follows rpm² (${figures}); take thrust as relative`,
  };
}
