/** Figures and verdicts in words. */
import type { Interval } from '../stats/interval';
import { formatNumber, formatQuantity, shownUnit } from '../../units/format';
import { convert } from '../../units/parse';
import { metricFact } from '../metrics/catalogue';

/** A metric's value as people read it: `27.2 ms`, `131 gf`, `5.2 g/W`. */
export function show(key: string, value: number, digits = 4): string {
  const { shown } = metricFact(key);
  return shown === 'count' ? formatNumber(value, digits) : formatQuantity(value, shown, { digits });
}

/** A difference with its sign. A difference of temperatures is in kelvin. */
export function showDifference(key: string, value: number, digits = 3): string {
  const { shown } = metricFact(key);
  const sign = value > 0 ? '+' : value < 0 ? '−' : '±';
  const size = Math.abs(value);
  if (shown === 'count') return `${sign}${formatNumber(size, digits)}`;
  if (shown === 'temperature') return `${sign}${formatNumber(size, digits)} K`;
  return `${sign}${formatQuantity(size, shown, { digits })}`;
}

/** Both ends in one unit: `+12 to +31 ms`; the reason where there is no interval. */
export function showInterval(key: string, interval: Interval, signed = true): string {
  if (interval.reason !== null) return interval.reason;
  const { shown } = metricFact(key);
  const sign = (v: number): string => (v > 0 ? (signed ? '+' : '') : v < 0 ? '−' : '');
  const one = (v: number, convertIt: (x: number) => number): string => `${sign(v)}${formatNumber(Math.abs(convertIt(v)), 3)}`;
  if (shown === 'count' || shown === 'temperature') return `${one(interval.lower, (x) => x)} to ${one(interval.upper, (x) => x)}${shown === 'count' ? '' : ' K'}`;
  const unit = shownUnit(Math.max(Math.abs(interval.lower), Math.abs(interval.upper)), shown);
  return `${one(interval.lower, (x) => convert(x, shown, unit))} to ${one(interval.upper, (x) => convert(x, shown, unit))} ${unit}`;
}

/** A share with sign: `−3.1 %`. */
export const showShare = (share: number): string => `${share > 0 ? '+' : share < 0 ? '−' : '±'}${formatNumber(Math.abs(100 * share), 3)} %`;

/** A title inside a sentence: `Apparent KV` → `apparent KV`; `CT` and `KV` stay. */
export const inSentence = (title: string): string => (/^.[A-Z]/.test(title) ? title : title.charAt(0).toLowerCase() + title.slice(1));

/** A factor's name as words: `switching_frequency` → `switching frequency`. */
export const factorWords = (name: string): string => name.replaceAll('_', ' ');

/** A list of words: `a, b and c`. */
export const enumerate = (items: readonly string[]): string =>
  (items.length < 2 ? items.join('') : `${items.slice(0, -1).join(', ')} and ${items[items.length - 1]}`);
