// From what a sensor does electrically to what it measures, and back. Formulas of the standards, nothing else.

const ZERO_degC = 273.15;
const T25_K = 298.15;

/** Temperature of a thermistor by its resistance: the beta equation, 1/T = 1/298.15 K + ln(R/R25)/beta. NaN for a resistance that is not above 0. */
export function thermistor_degC(resistance_ohm: number, at25_ohm: number, beta_K: number): number {
  if (!(resistance_ohm > 0)) return NaN;
  return 1 / (1 / T25_K + Math.log(resistance_ohm / at25_ohm) / beta_K) - ZERO_degC;
}

/** Resistance of a thermistor: the beta equation the other way. */
export function thermistor_ohm(temperature_degC: number, at25_ohm: number, beta_K: number): number {
  return at25_ohm * Math.exp(beta_K * (1 / (temperature_degC + ZERO_degC) - 1 / T25_K));
}

/** Resistance between input and ground, from the share of the reference that the input reads while `series_ohm` goes to the reference. NaN at the ends. */
export function dividerResistance_ohm(share: number, series_ohm: number): number {
  return share > 0 && share < 1 ? (series_ohm * share) / (1 - share) : NaN;
}
