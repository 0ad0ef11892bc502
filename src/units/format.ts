// Numbers for people: a fitting unit and as many digits as mean something.
import type { Dimension } from './dimensions';
import { DIMENSIONS } from './dimensions';
import { convert } from './parse';

/** Units that people read, largest first; the first that gives a number of at least 1 is taken, else the last. */
const SHOWN: Readonly<Record<Dimension, readonly string[]>> = {
  current: ['A', 'mA', 'uA'],
  voltage: ['V', 'mV', 'uV'],
  resistance: ['kohm', 'ohm', 'mohm', 'uohm'],
  inductance: ['H', 'mH', 'uH'],
  power: ['W', 'mW'],
  energy: ['Wh', 'mWh'],
  charge: ['Ah', 'mAh'],
  time: ['d', 'h', 'min', 's', 'ms', 'us'],
  frequency: ['MHz', 'kHz', 'Hz'],
  angle: ['deg'],
  temperature: ['°C'],
  temperature_difference: ['K'],
  temperature_rate: ['K/s'],
  speed: ['rpm'],
  kv: ['rpm/V'],
  acceleration: ['rpm/s'],
  ratio: ['%'],
  ratio_rate: ['%/s'],
  force: ['gf'],
  torque: ['N m', 'mN m', 'uN m'],
  mass: ['kg', 'g', 'mg'],
  length: ['m', 'mm'],
  pressure: ['hPa'],
  efficacy: ['g/W'],
};

/** A number with the given significant digits, without an exponent where that stays readable: 0.0125, 27300, 1.2e-7. */
export function formatNumber(value: number, digits = 4): string {
  if (!Number.isFinite(value)) return String(value);
  if (value === 0) return '0';
  const size = Math.floor(Math.log10(Math.abs(value)));
  if (size < -5 || size > 9) return Number(value.toPrecision(digits)).toString();
  const rounded = Number(value.toPrecision(Math.max(digits, Math.min(size + 1, 9))));
  return rounded.toFixed(Math.max(0, digits - 1 - size)).replace(/(\.\d*?)0+$/, '$1').replace(/\.$/, '');
}

/** The unit that a person would pick for this size: 0.004 s → ms. */
export function shownUnit(value: number, dimension: Dimension): string {
  const units = SHOWN[dimension];
  const fitting = units.find((u) => Math.abs(convert(value, dimension, u)) >= 0.9995);
  return fitting ?? (value === 0 ? mainUnit(units, dimension) : (units[units.length - 1] ?? DIMENSIONS[dimension].unit));
}

/** `0.0042` of time → `4.2 ms`; force in gf and thrust per watt in g/W, as the trade reads them. */
export function formatQuantity(value: number, dimension: Dimension, options: { readonly digits?: number; readonly unit?: string } = {}): string {
  const unit = options.unit ?? shownUnit(value, dimension);
  return `${formatNumber(convert(value, dimension, unit), options.digits ?? 4)} ${unit}`;
}

/** `value ± u` with two significant digits of the uncertainty (at most two, says JCGM 100:2008, 7.2.6), both in one unit. */
export function formatMeasured(value: number, u: number, dimension: Dimension, unit: string = shownUnit(value, dimension)): string {
  const shownU = convert(u, dimension, unit);
  const shown = convert(value, dimension, unit);
  if (!(shownU > 0) || !Number.isFinite(shownU)) return `${formatNumber(shown, 6)} ${unit}`;
  const places = Math.min(12, Math.max(0, 1 - Math.floor(Math.log10(shownU))));
  return `${shown.toFixed(places)} ± ${shownU.toFixed(places)} ${unit}`;
}

/** For files: the code unit and every digit, so that reading it back gives the same number (shares: to 15 digits). */
export function fileText(value: number, dimension: Dimension): string {
  if (dimension === 'ratio' || dimension === 'ratio_rate') {
    const unit = dimension === 'ratio' ? '%' : '%/s';
    return `${Number((value * 100).toPrecision(15))} ${unit}`;
  }
  return `${value} ${DIMENSIONS[dimension].unit}`;
}

function mainUnit(units: readonly string[], dimension: Dimension): string {
  return units.find((u) => u === DIMENSIONS[dimension].unit) ?? units[0] ?? DIMENSIONS[dimension].unit;
}
