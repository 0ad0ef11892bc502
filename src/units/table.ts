// Every unit that a file may use, spelled out: no prefix is guessed, so `Mohm` for `mohm` is an error and not a factor of 10⁹.
import type { Dimension } from './dimensions';

export interface Unit {
  readonly symbol: string;
  readonly dimension: Dimension;
  /** Code unit = value · factor. */
  readonly factor: number;
}

/** Standard gravity in m/s², exact by definition: The International System of Units (SI Brochure), 3rd CGPM 1901. */
export const STANDARD_GRAVITY = 9.80665;
/** One gram-force in newtons. */
export const GRAM_FORCE = STANDARD_GRAVITY / 1000;
/** One inch in metres, exact: international yard and pound agreement of 1959. */
export const INCH = 0.0254;

const rows: readonly (readonly [Dimension, Readonly<Record<string, number>>])[] = [
  ['current', { A: 1, mA: 1e-3, uA: 1e-6 }],
  ['voltage', { V: 1, mV: 1e-3, uV: 1e-6 }],
  ['resistance', { ohm: 1, mohm: 1e-3, uohm: 1e-6, kohm: 1e3, Ω: 1, mΩ: 1e-3, uΩ: 1e-6, kΩ: 1e3 }],
  ['inductance', { H: 1, mH: 1e-3, uH: 1e-6 }],
  ['power', { W: 1, mW: 1e-3, kW: 1e3 }],
  ['energy', { J: 1, kJ: 1e3, Wh: 3600, mWh: 3.6 }],
  ['charge', { C: 1, Ah: 3600, mAh: 3.6 }],
  ['time', { s: 1, ms: 1e-3, us: 1e-6, min: 60, h: 3600, d: 86400 }],
  ['frequency', { Hz: 1, kHz: 1e3, MHz: 1e6 }],
  ['angle', { deg: 1, '°': 1 }],
  ['temperature', { '°C': 1, degC: 1 }],
  ['temperature_difference', { K: 1, mK: 1e-3 }],
  ['temperature_rate', { 'K/s': 1, 'K/min': 1 / 60 }],
  ['speed', { rpm: 1, krpm: 1e3, 'r/min': 1, '1/min': 1 }],
  ['kv', { 'rpm/V': 1 }],
  ['acceleration', { 'rpm/s': 1, 'krpm/s': 1e3 }],
  ['ratio', { '%': 0.01, ppm: 1e-6 }],
  ['ratio_rate', { '%/s': 0.01, '%/ms': 10 }],
  ['force', { N: 1, mN: 1e-3, gf: GRAM_FORCE, kgf: STANDARD_GRAVITY }],
  ['torque', { 'N m': 1, 'mN m': 1e-3, 'uN m': 1e-6, Nm: 1, mNm: 1e-3, uNm: 1e-6 }],
  ['mass', { kg: 1, g: 1e-3, mg: 1e-6 }],
  ['length', { m: 1, cm: 0.01, mm: 1e-3, in: INCH }],
  ['pressure', { Pa: 1, hPa: 100, kPa: 1e3, mbar: 100, bar: 1e5 }],
  ['efficacy', { 'N/W': 1, 'mN/W': 1e-3, 'gf/W': GRAM_FORCE, 'g/W': GRAM_FORCE }],
];

export const UNITS: readonly Unit[] = rows.flatMap(([dimension, units]) =>
  Object.entries(units).map(([symbol, factor]) => ({ symbol, dimension, factor })));

/** Units of one dimension, as accepted in files. */
export function unitsOf(dimension: Dimension): readonly Unit[] {
  return UNITS.filter((u) => u.dimension === dimension);
}

/** The micro sign (U+00B5) and Greek mu (U+03BC) read as u, the ohm sign (U+2126) as Ω, a middle dot as a space. */
export function plainSymbol(written: string): string {
  return written.replace(/[µμ]/g, 'u').replace(/Ω/g, 'Ω').replace(/[·⋅]/g, ' ').replace(/\s+/g, ' ').trim();
}

const bySymbol = new Map(UNITS.map((u) => [u.symbol, u]));

/** The unit of that exact spelling, or undefined. */
export function findUnit(written: string): Unit | undefined {
  return bySymbol.get(plainSymbol(written));
}

/** What people write for a unit that has another spelling here. */
const WORDS: Readonly<Record<string, string>> = {
  amp: 'A', amps: 'A', ampere: 'A', amperes: 'A', milliamp: 'mA', volt: 'V', volts: 'V', ohms: 'ohm', watt: 'W', watts: 'W',
  sec: 's', secs: 's', second: 's', seconds: 's', msec: 'ms', millisecond: 'ms', milliseconds: 'ms', usec: 'us', mins: 'min',
  minute: 'min', minutes: 'min', hour: 'h', hours: 'h', hr: 'h', day: 'd', days: 'd', degree: 'deg', degrees: 'deg', c: '°C',
  celsius: '°C', kelvin: 'K', percent: '%', pct: '%', gram: 'g', grams: 'g', newton: 'N', newtons: 'N', inch: 'in', inches: 'in',
  '"': 'in', rev: 'rpm', rpms: 'rpm', hertz: 'Hz', '°k': 'K', kg: 'kgf',
};

/** The accepted spelling that somebody who wrote this probably meant, in this dimension; undefined when none is near. */
export function suggestUnit(written: string, dimension: Dimension): string | undefined {
  const own = unitsOf(dimension);
  const plain = plainSymbol(written);
  const sameLetters = own.filter((u) => u.symbol.toLowerCase() === plain.toLowerCase());
  if (sameLetters.length > 0) return sameLetters[0]?.symbol;
  const word = WORDS[plain.toLowerCase()];
  if (word !== undefined && own.some((u) => u.symbol === word)) return word;
  if (dimension === 'force' && /^k?g$/.test(plain)) return `${plain}f`;
  return undefined;
}
