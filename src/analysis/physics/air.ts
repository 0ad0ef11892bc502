/** Air density: the standard atmosphere, the CIPM-2007 equation and a plain humid-gas form. Temperatures in °C, pressures in Pa. */

/** Standard gravity, m/s² (ISO 2533:1975). */
const G0 = 9.80665;
/** Specific gas constant of dry air in the standard atmosphere, J/(kg·K) (ISO 2533:1975: 287.05287). */
const R_AIR = 287.05287;
const LAPSE_K_m = 0.0065;
const ISA_T0_K = 288.15;
const ISA_P0_Pa = 101_325;
const GAMMA = 1.4;
const ZERO_C_K = 273.15;

/** Density of the standard atmosphere at sea level, kg/m³: the usual reference for propeller figures. */
export const STANDARD_DENSITY_kg_m3 = 1.225;

/** State of the standard atmosphere. */
export type StandardAir = {
  readonly temperature_K: number;
  readonly pressure_Pa: number;
  readonly density_kg_m3: number;
  readonly soundSpeed_m_s: number;
  /** Dynamic viscosity by Sutherland's formula, Pa·s. */
  readonly viscosity_Pa_s: number;
};

/**
 * Standard atmosphere at a geopotential altitude in the troposphere (ISO 2533:1975).
 * @throws RangeError outside −2000..11 000 m
 */
export function standardAtmosphere(altitude_m: number): StandardAir {
  if (!(altitude_m >= -2000 && altitude_m <= 11_000)) throw new RangeError(`altitude ${altitude_m} m is outside −2000..11 000 m, the layer this formula describes`);
  const temperature_K = ISA_T0_K - LAPSE_K_m * altitude_m;
  const pressure_Pa = ISA_P0_Pa * (temperature_K / ISA_T0_K) ** (G0 / (LAPSE_K_m * R_AIR));
  return {
    temperature_K, pressure_Pa, density_kg_m3: pressure_Pa / (R_AIR * temperature_K),
    soundSpeed_m_s: Math.sqrt(GAMMA * R_AIR * temperature_K), viscosity_Pa_s: viscosity(temperature_K - ZERO_C_K),
  };
}

/** Dynamic viscosity of air, Pa·s, by Sutherland's formula with the constants of ISO 2533:1975. */
export function viscosity(temperature_degC: number): number {
  const t = temperature_degC + ZERO_C_K;
  return (1.458e-6 * t ** 1.5) / (t + 110.4);
}

/**
 * Station pressure from a pressure reduced to sea level (as weather services print it), by the standard atmosphere:
 * for a bench without a barometer of its own. A barometer beside the stand is better.
 */
export function stationPressure(seaLevel_Pa: number, elevation_m: number): number {
  return seaLevel_Pa * (standardAtmosphere(elevation_m).pressure_Pa / ISA_P0_Pa);
}

/** Air as measured beside the stand. */
export type AirState = {
  readonly temperature_degC: number;
  /** Pressure at the stand, not reduced to sea level. */
  readonly pressure_Pa: number;
  /** Relative humidity, 0..1. */
  readonly humidity: number;
  /** Amount fraction of carbon dioxide; 400e-6 unless given. */
  readonly co2?: number;
};

/** A density, with flags where the equation is used outside its stated range. */
export type Density = { readonly density_kg_m3: number; readonly flags: readonly string[] };

/**
 * Density of moist air by CIPM-2007 (Picard, Davis, Gläser & Fujii, Metrologia 45 (2008) 149). The stated range is
 * 600..1100 hPa and 15..27 °C; outside it the value is still given, with a flag.
 * @throws RangeError on values that no bench can have
 */
export function cipm2007(air: AirState): Density {
  checkAir(air);
  const { temperature_degC: t, pressure_Pa: p, humidity: h, co2 = 400e-6 } = air;
  const T = t + ZERO_C_K;
  const saturation_Pa = saturationPressure(t);
  const enhancement = 1.00062 + 3.14e-8 * p + 5.6e-7 * t * t;
  const xv = (h * enhancement * saturation_Pa) / p;
  const pt = p / T;
  const z = 1
    - pt * (1.58123e-6 - 2.9331e-8 * t + 1.1043e-10 * t * t + (5.707e-6 - 2.051e-8 * t) * xv + (1.9898e-4 - 2.376e-6 * t) * xv * xv)
    + pt * pt * (1.83e-11 - 0.765e-8 * xv * xv);
  const dryMolarMass = (28.96546 + 12.011 * (co2 - 0.0004)) * 1e-3;
  const density = ((p * dryMolarMass) / (z * 8.314472 * T)) * (1 - xv * (1 - 18.01528e-3 / dryMolarMass));
  const flags: string[] = [];
  if (t < 15 || t > 27) flags.push(`temperature ${t} °C is outside the 15..27 °C of CIPM-2007`);
  if (p < 60_000 || p > 110_000) flags.push(`pressure ${p / 100} hPa is outside the 600..1100 hPa of CIPM-2007`);
  return { density_kg_m3: density, flags };
}

/** Saturation vapour pressure over water, Pa (CIPM-2007, equation A1.1). */
export function saturationPressure(temperature_degC: number): number {
  const T = temperature_degC + ZERO_C_K;
  return Math.exp(1.2378847e-5 * T * T - 1.9121316e-2 * T + 33.93711047 - 6.3431645e3 / T);
}

/** Density of moist air as a mixture of ideal gases, kg/m³: within 0.1 % of CIPM-2007 at bench conditions, for cross-checks. */
export function idealMoistAir(air: AirState): number {
  checkAir(air);
  const T = air.temperature_degC + ZERO_C_K;
  const vapour_Pa = air.humidity * saturationPressure(air.temperature_degC);
  return (air.pressure_Pa - vapour_Pa) / (R_AIR * T) + vapour_Pa / (461.52 * T);
}

function checkAir({ temperature_degC, pressure_Pa, humidity, co2 = 400e-6 }: AirState): void {
  if (!(temperature_degC >= -40 && temperature_degC <= 60)) throw new RangeError(`air temperature ${temperature_degC} °C is outside −40..60 °C; is the unit right?`);
  if (!(pressure_Pa >= 30_000 && pressure_Pa <= 120_000)) throw new RangeError(`air pressure ${pressure_Pa} Pa is outside 30 000..120 000 Pa; is the unit right (1 hPa = 100 Pa)?`);
  if (!(humidity >= 0 && humidity <= 1)) throw new RangeError(`humidity ${humidity} is outside 0..1; give 45 % as 0.45`);
  if (!(co2 >= 0 && co2 <= 0.05)) throw new RangeError(`carbon dioxide fraction ${co2} is outside 0..0.05; give 400 ppm as 400e-6`);
}
