// A comparison of two campaigns as text.
import colours from 'picocolors';
import type { ComparedMetric, ComparedRow, Comparison } from '../model/comparison';
import { convert, DIMENSIONS, formatNumber, shownUnit, type Dimension } from '../units';
import { simulatedBadge, tables, wrap } from './text';

export interface ComparisonView {
  readonly all: boolean;
  /** Columns of the terminal; Infinity for a pipe. */
  readonly width: number;
  /** The two folders as they were named. */
  readonly folders: readonly [first: string, second: string];
}

/** Sentences first, then a table a metric, then what to bear in mind. */
export function renderComparison(c: Comparison, { all, width, folders }: ComparisonView): string {
  const wide = Math.min(width, 100);
  const lines = (texts: readonly string[]): string[] => texts.map((t) => wrap(`  ${t}`, wide, '  '));
  const name = (s: Comparison['a']): string => `${s.campaign}${s.day === null ? '' : ` of ${s.day}`}, ${s.runs_used} of ${s.runs_planned} runs used`;
  const shown = c.metrics.filter((m) => all || m.of_interest);
  const out = [
    `${colours.bold('A')}  ${folders[0]}: ${name(c.a)}${c.simulated ? ` ${simulatedBadge()}` : ''}`, `${colours.bold('B')}  ${folders[1]}: ${name(c.b)}`, '',
    ...c.sentences.map((s) => wrap(s.replace('the second campaign is', 'B against A is'), wide, '')), '',
    ...shown.flatMap((m) => metricText(c, m, all, width)),
  ];
  if (c.differs.length > 0) out.push(colours.bold('What differs besides'), ...lines(c.differs.map((d) => (d.a === 'one' ? d.what : `${d.what}: ${d.a ?? 'not stated'} / ${d.b ?? 'not stated'}`))), '');
  if (c.not_compared.length > 0) out.push(colours.bold('Not compared'), ...lines(c.not_compared.map((n) => `${n.what}: ${n.reason}`)), '');
  out.push(colours.bold('To bear in mind'), ...lines(c.notes));
  if (!all && shown.length < c.metrics.length) out.push('', `${c.metrics.length - shown.length} further metrics: --all, or --json for every figure.`);
  return `${out.join('\n')}\n`;
}

function metricText(c: Comparison, m: ComparedMetric, all: boolean, width: number): string[] {
  const values = m.rows.flatMap((r) => [r.a.value, r.b.value]).filter((v) => v !== null);
  const scale = scaleFor(m.shown, values);
  const unit = scale.unit === '' ? '' : `, ${scale.unit}`;
  const settingOf = (r: ComparedRow): string => (r.setting === null ? 'mean of these' : c.settings.find((s) => s.id === r.setting)?.text ?? r.setting);
  const lines = [...m.rows, ...(m.overall === null ? [] : [m.overall])];
  const places = placesOf(lines, scale);
  const rows = lines.map((r) => [settingOf(r), ...cells(r, scale, places), r.contrast.text]);
  const flags = [...new Set(lines.flatMap((r) => r.flags))];
  return [
    `${colours.bold(m.title)}${unit}${m.margin_text === null ? '' : `; differences within ±${m.margin_text} do not matter`}${all && !m.of_interest ? ' (not named by the campaigns: its verdicts stand alone)' : ''}`,
    tables(['setting', 'A', 'B', 'B − A', `${Math.round(100 * c.confidence)} % interval`, 'B is'], rows, ['left', 'right', 'right', 'right', 'right', 'left'], width),
    ...flags.map((f) => wrap(`  ${f}`, Math.min(width, 100), '  ')), '',
  ];
}

type Scale = { readonly unit: string; readonly of: (v: number) => number; readonly size: (v: number) => number };

function scaleFor(shown: string, values: readonly number[]): Scale {
  if (!Object.hasOwn(DIMENSIONS, shown)) return { unit: '', of: (v) => v, size: (v) => v };
  const dimension = shown as Dimension;
  const unit = shownUnit(Math.max(0, ...values.map(Math.abs)), dimension);
  const of = (v: number): number => convert(v, dimension, unit);
  return { unit, of, size: (v) => of(v) - of(0) };
}

/** Decimals for a table: two digits of the middle uncertainty of its differences (JCGM 100:2008, 7.2.6); null without any. */
function placesOf(rows: readonly ComparedRow[], scale: Scale): number | null {
  const sizes = rows.flatMap((r) => (r.contrast.u === null || !(r.contrast.u > 0) ? [] : [Math.abs(scale.size(r.contrast.u))])).sort((a, b) => a - b);
  const middle = sizes[Math.floor(sizes.length / 2)];
  return middle === undefined ? null : Math.min(6, Math.max(0, 1 - Math.floor(Math.log10(middle))));
}

function cells(r: ComparedRow, scale: Scale, places: number | null): string[] {
  const { difference, interval } = r.contrast;
  const shown = (v: number): string => (places === null ? formatNumber(v, 4) : v.toFixed(places)).replace('-', '−');
  const signed = (v: number): string => `${v > 0 ? '+' : ''}${shown(v)}`;
  const value = (v: ComparedRow['a']): string => (v.value === null ? '–' : shown(scale.of(v.value)));
  return [
    value(r.a), value(r.b), difference === null ? '–' : signed(scale.size(difference)),
    interval.lower === null || interval.upper === null ? 'none' : `${signed(scale.size(interval.lower))} to ${signed(scale.size(interval.upper))}`,
  ];
}
