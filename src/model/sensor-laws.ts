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

/** IEC 60751: R(t) = R0·(1 + A·t + B·t² + C·(t − 100 °C)·t³), the last term below 0 °C only. */
const PT = { A: 3.9083e-3, B: -5.775e-7, C: -4.183e-12, R0_ohm: 100 } as const;
/** Where the standard's curves hold, °C. */
export const PT100_SPAN_degC = { from: -200, to: 850 } as const;
export const TYPE_K_SPAN_degC = { from: -200, to: 1372 } as const;

/** Resistance of a Pt100 (Callendar and Van Dusen, IEC 60751). */
export function pt100_ohm(degC: number): number {
  const below = degC < 0 ? PT.C * (degC - 100) * degC ** 3 : 0;
  return PT.R0_ohm * (1 + PT.A * degC + PT.B * degC * degC + below);
}

/** Temperature of a Pt100 by its resistance. NaN outside -200 .. 850 °C. */
export function pt100_degC(ohm: number): number {
  return inverse(pt100_ohm, ohm, PT100_SPAN_degC);
}

/** Coefficients of the type K reference function, mV over powers of °C (ITS-90, NIST Monograph 175; those below 0 °C typed from memory: they agree with NIST SRD 60 to the three digits it prints and with its table). */
const K_ABOVE = [
  -0.17600413686e-1, 0.38921204975e-1, 0.1855877002e-4, -0.99457592874e-7, 0.31840945719e-9, -0.56072844889e-12, 0.56075059059e-15, -0.32020720003e-18,
  0.97151147152e-22, -0.12104721275e-25,
];
const K_BELOW = [
  0, 0.39450128025e-1, 0.23622373598e-4, -0.32858906784e-6, -0.49904828777e-8, -0.67509059173e-10, -0.57410327428e-12, -0.31088872894e-14, -0.10451609365e-16,
  -0.19889266878e-19, -0.16322697486e-22,
];
/** Its bump above 0 °C: a0·exp(a1·(t − a2)²), mV. */
const K_BUMP = { a0: 0.1185976, a1: -0.1183432e-3, a2: 126.9686 } as const;

/** Voltage of a type K thermocouple with its reference junction at 0 °C, mV (ITS-90, IEC 60584-1). */
export function typeK_mV(degC: number): number {
  const powers = (degC < 0 ? K_BELOW : K_ABOVE).reduceRight((sum, c) => sum * degC + c, 0);
  return degC < 0 ? powers : powers + K_BUMP.a0 * Math.exp(K_BUMP.a1 * (degC - K_BUMP.a2) ** 2);
}

/** Temperature of a type K thermocouple by its voltage and the temperature of its reference junction. NaN outside -200 .. 1372 °C. */
export function typeK_degC(mV: number, junction_degC: number): number {
  return inverse(typeK_mV, mV + typeK_mV(junction_degC), TYPE_K_SPAN_degC);
}

/** Where a rising function takes a value, to within 1e-6 °C, by halving; NaN outside the span. */
function inverse(f: (degC: number) => number, value: number, span: { readonly from: number; readonly to: number }): number {
  let { from, to } = span;
  if (!(value >= f(from) && value <= f(to))) return NaN;
  while (to - from > 1e-6) {
    const middle = (from + to) / 2;
    if (f(middle) < value) from = middle;
    else to = middle;
  }
  return (from + to) / 2;
}
