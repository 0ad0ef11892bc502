/**
 * Propeller coefficients in the propeller form (n in revolutions per second): CT = T/(ρn²D⁴), CQ = Q/(ρn²D⁵), CP = P/(ρn³D⁵).
 * Figures that need shaft power exist only with a torque channel.
 */
import { noResult, type NoResult, type Numbers } from '../stats/check';
import { around, type Interval } from '../stats/interval';
import { fitLine } from '../stats/linefit';
import { coverageFactor } from '../stats/quantiles';

/** A propeller at work. */
export type PropellerState = { readonly speed_rpm: number; readonly diameter_m: number; readonly density_kg_m3: number };

/** ρ n² D⁴, the force scale of a state, N. */
function forceScale({ speed_rpm, diameter_m, density_kg_m3 }: PropellerState): number {
  if (!(speed_rpm > 0 && diameter_m > 0 && density_kg_m3 > 0)) {
    throw new RangeError(`coefficients need speed, diameter and density above 0, got ${speed_rpm} rpm, ${diameter_m} m, ${density_kg_m3} kg/m³`);
  }
  return density_kg_m3 * (speed_rpm / 60) ** 2 * diameter_m ** 4;
}

/** Thrust coefficient CT. */
export const thrustCoefficient = (thrust_N: number, s: PropellerState): number => thrust_N / forceScale(s);
/** Torque coefficient CQ. */
export const torqueCoefficient = (torque_Nm: number, s: PropellerState): number => torque_Nm / (forceScale(s) * s.diameter_m);
/** Power coefficient CP = 2π·CQ, from shaft power. */
export const powerCoefficient = (power_W: number, s: PropellerState): number => power_W / (forceScale(s) * s.diameter_m * (s.speed_rpm / 60));
/** Thrust, N, of a CT. */
export const thrustOf = (ct: number, s: PropellerState): number => ct * forceScale(s);
/** Shaft power, W, of a CP. */
export const powerOf = (cp: number, s: PropellerState): number => cp * forceScale(s) * s.diameter_m * (s.speed_rpm / 60);
/** Shaft power, W, from torque and speed. */
export const shaftPower = (torque_Nm: number, speed_rpm: number): number => (torque_Nm * speed_rpm * 2 * Math.PI) / 60;
/** Shaft torque, N·m, from power and speed. */
export const shaftTorque = (power_W: number, speed_rpm: number): number => (power_W * 60) / (2 * Math.PI * speed_rpm);
/** Advance ratio J = V/(nD). */
export const advanceRatio = (airspeed_m_s: number, speed_rpm: number, diameter_m: number): number => airspeed_m_s / ((speed_rpm / 60) * diameter_m);
/** Propulsive efficiency η = J·CT/CP. */
export const propulsiveEfficiency = (j: number, ct: number, cp: number): number => (j * ct) / cp;

/** Least power that momentum theory allows for a static thrust, W: T^1.5/√(2ρA). */
export function idealHoverPower(thrust_N: number, diameter_m: number, density_kg_m3: number): number {
  if (!(thrust_N >= 0)) throw new RangeError(`ideal power needs a thrust of 0 or more, got ${thrust_N} N`);
  return thrust_N ** 1.5 / Math.sqrt(2 * density_kg_m3 * Math.PI * (diameter_m / 2) ** 2);
}

/** Figure of merit: ideal over actual shaft power; 1 is the limit. null when the power is not positive. */
export function figureOfMerit(thrust_N: number, shaftPower_W: number, diameter_m: number, density_kg_m3: number): number | null {
  return shaftPower_W > 0 ? idealHoverPower(thrust_N, diameter_m, density_kg_m3) / shaftPower_W : null;
}

/**
 * Thrust, torque or shaft power at another air density and the same rpm: proportional to density.
 * It holds at equal rpm only: at equal throttle the rpm itself moves with the density.
 */
export function atDensity(value: number, measured_kg_m3: number, wanted_kg_m3: number): number {
  if (!(measured_kg_m3 > 0 && wanted_kg_m3 > 0)) throw new RangeError(`densities must be above 0, got ${measured_kg_m3} and ${wanted_kg_m3} kg/m³`);
  return (value * wanted_kg_m3) / measured_kg_m3;
}

/** thrust = k·(rpm/reference)^exponent. */
export type PowerLaw = {
  readonly ok: true;
  /** Thrust at the reference speed, N. */
  readonly thrustAtReference_N: number;
  readonly reference_rpm: number;
  readonly exponent: number;
  readonly uExponent: number;
  readonly exponentInterval: Interval;
  /**
   * `holds`: the exponent's interval lies within 2 ± tolerance. `fails`: it lies outside. `too coarse`: the stand cannot say,
   * so only relative thrust should be claimed.
   */
  readonly square: 'holds' | 'fails' | 'too coarse';
  /** Largest relative miss of the fitted law over the points. */
  readonly worstMiss: number;
  readonly text: string;
};

/**
 * Fits the exponent of thrust over speed by a straight line in logarithms.
 * @param speed_rpm,thrust_N one point a level or repeat (not a sample); points at or below 0 are refused by reason
 * @param tolerance how far from 2 still counts as "∝ rpm²"; 0.1 unless given (a change of CT of about 7 % over a doubling of speed)
 * @param uCommon standard uncertainty of the exponent from the stand itself (zero drift, nonlinearity), added in quadrature
 */
export function fitThrustLaw(speed_rpm: Numbers, thrust_N: Numbers, tolerance = 0.1, uCommon = 0, confidence = 0.95): PowerLaw | NoResult {
  const n = speed_rpm.length;
  for (let i = 0; i < n; i++) {
    if (!(speed_rpm[i] > 0 && thrust_N[i] > 0)) return noResult(`point ${i} has ${speed_rpm[i]} rpm and ${thrust_N[i]} N; a power law needs both above 0`);
  }
  if (n < 3) return noResult(`${n} points cannot show an exponent and its uncertainty; 3 or more are needed`);
  const x = Float64Array.from(speed_rpm, Math.log);
  const reference = Math.exp(x.reduce((a, b) => a + b, 0) / n);
  const fit = fitLine(x.map((v) => v - Math.log(reference)), Float64Array.from(thrust_N, Math.log));
  if (!fit.ok) return fit;
  if (fit.standardErrors === null) return noResult(fit.reason ?? 'no uncertainty');
  const [logThrust, exponent] = fit.coefficients;
  const uExponent = Math.hypot(fit.standardErrors[1], uCommon);
  const half = coverageFactor(confidence, fit.residualDof) * uExponent;
  const off = Math.abs(exponent - 2);
  const square = off + half <= tolerance ? 'holds' : off - half > tolerance ? 'fails' : 'too coarse';
  let worstMiss = 0;
  for (let i = 0; i < n; i++) worstMiss = Math.max(worstMiss, Math.abs(thrust_N[i] / (Math.exp(logThrust) * (speed_rpm[i] / reference) ** exponent) - 1));
  const figures = `exponent ${exponent.toFixed(3)} ± ${half.toFixed(3)}`;
  return {
    ok: true, thrustAtReference_N: Math.exp(logThrust), reference_rpm: reference, exponent, uExponent,
    exponentInterval: around(exponent, half, confidence), square, worstMiss,
    text: square === 'holds' ? `thrust follows rpm² (${figures})`
      : square === 'fails' ? `thrust does not follow rpm² here (${figures})`
        : `this stand is too coarse to tell whether thrust follows rpm² (${figures}); take thrust as relative`,
  };
}
