// Figures as people read them: one unit for all values of a metric, as many digits as the uncertainty allows.
import type { Contrast, ResultEstimate, ResultMetric } from '../model/results';
import { DIMENSIONS, type Dimension } from '../units/dimensions';
import { formatNumber, shownUnit } from '../units/format';
import { convert } from '../units/parse';

/** Unit and scale in which all values of a metric, or all differences of it, are shown. */
export type Scale = { readonly unit: string; readonly of: (value: number) => number };

const PLAIN: Scale = { unit: '', of: (v) => v };

const isDimension = (name: string): name is Dimension => Object.hasOwn(DIMENSIONS, name);

/** A scale for a dimension that suits the largest of the values. An unknown dimension keeps the numbers as they are. */
export function scaleFor(shown: string, values: readonly (number | null)[], difference = false): Scale {
  if (!isDimension(shown)) return PLAIN;
  const dimension: Dimension = difference && shown === 'temperature' ? 'temperature_difference' : shown;
  const largest = values.reduce<number>((a, v) => (v !== null && Number.isFinite(v) ? Math.max(a, Math.abs(v)) : a), 0);
  const unit = shownUnit(largest, dimension);
  return { unit, of: (v) => convert(v, dimension, unit) };
}

/** The scale of a metric's values. */
export const scaleOf = (metric: ResultMetric): Scale => scaleFor(metric.shown, metric.settings.map((s) => s.estimate.value));

/** The scale of a metric's differences: that of its values. */
export function differenceScale(metric: ResultMetric): Scale {
  const values = scaleOf(metric);
  if (metric.shown !== 'temperature') return values;
  return scaleFor(metric.shown, [1], true);
}

/** Decimals that show `u` with two significant digits (JCGM 100:2008, 7.2.6), never more than six. */
export function placesFor(u: number | null, value: number): number {
  const size = u !== null && u > 0 ? u : Math.abs(value) * 1e-3;
  if (!(size > 0) || !Number.isFinite(size)) return 0;
  return Math.min(6, Math.max(0, 1 - Math.floor(Math.log10(size))));
}

const withUnit = (text: string, unit: string): string => (unit === '' ? text : `${text} ${unit}`);
const minus = (text: string): string => text.replace('-', '−');

/** A number with the decimals given and a real minus sign; a dash for none. */
export function fixed(value: number | null, places: number): string {
  if (value === null || !Number.isFinite(value)) return '–';
  const text = value.toFixed(places);
  return /[1-9]/.test(text) ? minus(text) : text.replace('-', '');
}

/** `27.24 ± 0.11`, without the unit. */
export function valueWithU({ value, u }: Pick<ResultEstimate, 'value' | 'u'>, scale: Scale): string {
  if (value === null) return '–';
  const shown = scale.of(value);
  if (u === null) return minus(formatNumber(shown, 4));
  const shownU = Math.abs(scale.of(u) - scale.of(0));
  const places = placesFor(shownU, shown);
  return `${fixed(shown, places)} ± ${fixed(shownU, places)}`;
}

/** `26.9 to 27.6`, without the unit; a dash where there is none. */
export function range(interval: { readonly lower: number | null; readonly upper: number | null }, scale: Scale, signed = false): string {
  const { lower, upper } = interval;
  if (lower === null || upper === null) return '–';
  const a = scale.of(lower);
  const b = scale.of(upper);
  const places = placesFor(Math.abs(b - a) / 2, Math.max(Math.abs(a), Math.abs(b)));
  const one = (v: number): string => `${signed && v > 0 ? '+' : ''}${fixed(v, places)}`;
  return `${one(a)} to ${one(b)}`;
}

/** A difference with its sign: as a share of the baseline where that is how the metric is best read, else in the unit. */
export function difference(contrast: Contrast, scale: Scale, asShare: boolean): string {
  if (contrast.difference === null) return '';
  if (asShare && contrast.relative !== null) {
    const share = 100 * contrast.relative;
    return withUnit(signedFixed(share, Math.abs(share) < 9.95 ? 2 : 1), '%');
  }
  const shown = scale.of(contrast.difference);
  const u = contrast.u === null ? null : Math.abs(scale.of(contrast.u));
  return withUnit(signedFixed(shown, Math.min(places(shown), placesFor(u, shown))), scale.unit === '%' ? 'points' : scale.unit);
}

/** With a sign, unless nothing but zeros is left of it. */
function signedFixed(v: number, places: number): string {
  const text = fixed(v, places);
  return v > 0 && /[1-9]/.test(text) ? `+${text}` : text;
}

/** Decimals for three digits: the difference is a headline, its interval is in the annex. */
const places = (v: number): number => (Math.abs(v) >= 99.5 ? 0 : Math.abs(v) >= 9.95 ? 1 : 2);

/** Whether differences of a metric are told as shares: not where the metric is a share or a count itself, or times with a margin in time. */
export function toldAsShare(metric: ResultMetric): boolean {
  return !['ratio', 'count', 'temperature', 'temperature_difference', 'time'].includes(metric.shown);
}

/** p as text: `< 0.001`, `0.034`. */
export function pValue(p: number | null): string {
  if (p === null || !Number.isFinite(p)) return '–';
  return p < 0.001 ? '< 0.001' : p > 0.999 ? '> 0.999' : p.toFixed(3);
}

/** A value with its unit, for a sentence. */
export function inWords(value: number, shown: string, digits = 4): string {
  const scale = scaleFor(shown, [value]);
  return withUnit(minus(formatNumber(scale.of(value), digits)), scale.unit);
}

/** A heading with the unit behind it. */
export const heading = (title: string, unit: string): string => (unit === '' ? title : `${title}, ${unit}`);
