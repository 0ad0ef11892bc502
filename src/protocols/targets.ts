// Hold targets taken from the declared article, for protocols that were given none.
import { formatNumber, formatQuantity } from '../units';
import type { Derived, DriveFacts } from './protocol';

/** Density of air at 15 °C and 1013.25 hPa: ISO 2533:1975, sea level, kg/m³. */
const AIR_KG_PER_M3 = 1.225;
/** Share of the electrical power that small drives turn into ideal induced power at hover (common practice, no published source). */
const SYSTEM_EFFICIENCY = 0.4;
/** Share of the declared maximum current that stands in for hover when the craft's hover thrust is not declared. */
const SHARE_OF_MAX_CURRENT = 0.25;
/** No derived hold asks for more than this share of the declared maximum current. */
const MOST_OF_MAX_CURRENT = 0.5;
/** Share of the ideal speed (throttle times KV times voltage) that a loaded motor certainly passes (common practice, no published source). */
const SHARE_OF_IDEAL_SPEED = 0.6;

/**
 * Electrical power at about hover, W. With hover thrust T and propeller diameter declared: T^1.5 / √(2ρA) / 0.4, where the
 * numerator is the ideal power of a rotor of disc area A (momentum theory: W. J. M. Rankine, Trans. Inst. Naval Architects 6,
 * 1865). Else a quarter of the declared maximum current at the nominal voltage. Never above half the maximum current.
 */
export function hoverPower(f: DriveFacts): Derived {
  const { power_W, why } = atHover(f);
  const value = rounded(power_W);
  return { value, why: `${formatQuantity(value, 'power')} is ${why}` };
}

/** Current at about hover, A: the power of {@link hoverPower} over the nominal voltage. */
export function hoverCurrent(f: DriveFacts): Derived {
  const { power_W, why } = atHover(f);
  const value = rounded(power_W / f.nominal_V);
  return { value, why: `${formatQuantity(value, 'current')} at ${formatNumber(f.nominal_V)} V is ${why}` };
}

/** The same before rounding, and what it rests on. */
function atHover(f: DriveFacts): { readonly power_W: number; readonly why: string } {
  const full_W = f.max_current_A * f.nominal_V;
  const declared = `the declared maximum current of ${formatNumber(f.max_current_A)} A`;
  if (f.hover_thrust_N === null || f.propeller_diameter_m === null) {
    return { power_W: SHARE_OF_MAX_CURRENT * full_W, why: `${SHARE_OF_MAX_CURRENT * 100} % of ${declared}; the article declares no hover thrust or no propeller diameter` };
  }
  const disc_m2 = (Math.PI / 4) * f.propeller_diameter_m ** 2;
  const power_W = f.hover_thrust_N ** 1.5 / Math.sqrt(2 * AIR_KG_PER_M3 * disc_m2) / SYSTEM_EFFICIENCY;
  const basis = `about hover, estimated from ${formatQuantity(f.hover_thrust_N, 'force')} of thrust and a ${formatQuantity(f.propeller_diameter_m, 'length')} propeller`;
  const most_W = MOST_OF_MAX_CURRENT * full_W;
  if (power_W <= most_W) return { power_W, why: basis };
  return { power_W: most_W, why: `${MOST_OF_MAX_CURRENT * 100} % of ${declared}; ${basis}, it would be ${formatQuantity(power_W, 'power')}` };
}

/** Speed that the motor certainly passes once it runs at this throttle: 60 % of throttle times KV times voltage, rpm. */
export function runningSpeed(f: DriveFacts, throttle: number): Derived {
  const value = rounded(SHARE_OF_IDEAL_SPEED * throttle * f.kv_rpm_per_V * f.nominal_V);
  return { value, why: `${formatQuantity(value, 'speed')} is 60 % of the ideal speed at ${formatQuantity(throttle, 'ratio')} throttle (${formatNumber(f.kv_rpm_per_V)} rpm/V at ${formatNumber(f.nominal_V)} V)` };
}

/** Two significant digits: an estimate, and it should look like one. */
function rounded(x: number): number {
  return Number(x.toPrecision(2));
}
