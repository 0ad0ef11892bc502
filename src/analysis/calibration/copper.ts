/** Copper leads: what their resistance should be, to notice a measurement that cannot be right. */

/** Resistivity of annealed copper at 20 °C, Ω·m: 100 % IACS, 1.7241 µΩ·cm (International Annealed Copper Standard, IEC 60028). */
const COPPER_OHM_M = 1.7241e-8;
/** Change of resistance per kelvin at 20 °C (IEC 60028; from memory). */
const COPPER_PER_K = 0.00393;

/** Diameter of a solid conductor in metres: d = 0.127 mm · 92^((36 − n)/39) (ASTM B258). @param gauge AWG number; 0 and below for 0, 00, … as 0, −1, … */
export function awgDiameter_m(gauge: number): number {
  if (!Number.isInteger(gauge) || gauge < -3 || gauge > 40) throw new RangeError(`AWG ${gauge} is outside −3 .. 40`);
  return 0.127e-3 * 92 ** ((36 - gauge) / 39);
}

/** Resistance of copper per metre of one conductor, Ω/m. */
export function awgResistance_ohm_per_m(gauge: number, temperature_degC = 20): number {
  const d = awgDiameter_m(gauge);
  return ((COPPER_OHM_M * 4) / (Math.PI * d * d)) * (1 + COPPER_PER_K * (temperature_degC - 20));
}

/** Both ways of a pair of leads, Ω, without plugs. @param length_m of the pair, one way */
export function leadPair_ohm(gauge: number, length_m: number, temperature_degC = 20): number {
  return 2 * length_m * awgResistance_ohm_per_m(gauge, temperature_degC);
}
