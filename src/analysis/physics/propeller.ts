/**
 * Propeller coefficients in the propeller form (n in revolutions per second): CT = T/(ρn²D⁴), CQ = Q/(ρn²D⁵), CP = P/(ρn³D⁵).
 * Figures that need shaft power exist only with a torque channel.
 */

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
