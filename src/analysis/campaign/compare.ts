/** Two campaigns against each other: per shared setting and metric the difference of the second less the first, with its interval. */
import type { ComparedMetric, ComparedRow, Comparison } from '../../model/comparison';
import { metricFact } from '../metrics/catalogue';
import { instrumentPart, type InputDofs } from '../metrics/calibration-facts';
import type { Effects } from '../metrics/reading';
import { powerAtSpeed } from '../metrics/run-curve';
import { noResult, type NoResult } from '../stats/check';
import type { Difference } from '../stats/compare';
import { dofNumber } from '../stats/estimate';
import { around } from '../stats/interval';
import { coverageFactor, tTwoSidedP } from '../stats/quantiles';
import { combine, type Component } from '../stats/uncertainty';
import { dofsOf, effectsOnDifference, meanEffects, poolingOf, settingValue, type Group, type Pooling } from './absolute';
import { collect, dofsIn, isCount, keysOfInterest, type Column, type Repeat } from './collect';
import { comparisonNotes, overallSentences } from './compare-words';
import { differences, refusals, type CompareBench, type CompareSide } from './compare-bench';
import { judged, protect } from './contrast';
import { countContrasts } from './counts';
import type { CampaignInput } from './input';
import { marginIn } from './metric';

/** Nothing may be compared; each line says why and what to do. */
export type Refused = { readonly ok: false; readonly reasons: readonly string[] };

export type CompareOptions = {
  /** The article was taken off the stand in between, whatever the files say. */
  readonly remounted?: boolean;
};

/** How the sides hang together. */
type Ties = { readonly mounting: Comparison['mounting']; readonly calibration: Comparison['calibration']; readonly sameDay: boolean };

/**
 * Compares campaign b with campaign a. The uncertainty of a difference holds the repeats of both, the calibration (what both share
 * cancels, what they do not share adds), and re-mounting when the article may have been off the stand in between.
 * Intervals hold for all shared settings together (Bonferroni), p values over metrics after Holm.
 */
export function compareCampaigns(a: CompareSide, b: CompareSide, options: CompareOptions = {}): { readonly ok: true; readonly comparison: Comparison } | Refused {
  const reasons = [...refusals(a.bench, b.bench), ...sameRecords(a.input, b.input)];
  if (reasons.length > 0) return { ok: false, reasons };
  const differs = differences(a.bench, b.bench);
  const settings = a.input.settings.filter((s) => b.input.settings.some((t) => t.id === s.id)).map(({ id, text }) => ({ id, text }));
  if (settings.length === 0) return { ok: false, reasons: [`the campaigns have no setting in common: ${listed(a)} against ${listed(b)}`] };
  const ties: Ties = {
    mounting: mountingOf(a, b, differs, options.remounted ?? false), calibration: a.bench.calibration === b.bench.calibration ? 'same' : 'other',
    sameDay: a.bench.day !== null && a.bench.day === b.bench.day,
  };
  const { metrics, not_compared } = metricsOf(studied(a, b), studied(b, a), settings.map((s) => s.id), ties);
  const used = (side: CompareSide): number => side.input.runs.filter((r) => r.status === 'used').length;
  const sideOf = (side: CompareSide): Comparison['a'] => ({
    campaign: side.input.campaign, day: side.bench.day, rig: side.bench.rig, mounting: side.bench.mounting, runs_used: used(side), runs_planned: side.input.runs.length,
    fingerprint: textOrNull(side.input.provenance.fingerprint), version: textOrNull(side.input.provenance.spoolbench),
  });
  const missing = [...a.input.settings.filter((s) => !settings.some((t) => t.id === s.id)).map((s) => ({ what: s.text, reason: 'only the first campaign has this setting' })),
    ...b.input.settings.filter((s) => !settings.some((t) => t.id === s.id)).map((s) => ({ what: s.text, reason: 'only the second campaign has this setting' }))];
  const whole: Comparison = {
    spoolbench_comparison: 1, simulated: a.bench.simulated, confidence: a.input.confidence, a: sideOf(a), b: sideOf(b), differs, mounting: ties.mounting, calibration: ties.calibration,
    settings, metrics, not_compared: [...missing, ...not_compared], sentences: [], notes: comparisonNotes(a, b, ties, differs),
  };
  return { ok: true, comparison: { ...whole, sentences: overallSentences(whole) } };
}

/** A record on both sides is one measurement: it says nothing about a difference. */
function sameRecords(a: CampaignInput, b: CampaignInput): string[] {
  const sums = (input: CampaignInput): string[] => input.runs.flatMap((r) => (r.status === 'used' && r.sha256 !== null && r.sha256 !== '' ? [r.sha256] : []));
  const first = new Set(sums(a));
  const shared = sums(b).filter((sum) => first.has(sum)).length;
  return shared === 0 ? [] : [`${shared} of the records are the same in both, to the byte: nothing is learnt from comparing a campaign with itself (the simulated rig makes other records with another seed)`];
}

const textOrNull = (v: string | number | null | undefined): string | null => (v === null || v === undefined ? null : String(v));
const listed = ({ input }: CompareSide): string => input.settings.slice(0, 4).map((s) => s.text).join('; ') || 'none';

/** A study tells of the rig: where only one campaign carries it, it holds for the other too. */
const studied = (side: CompareSide, other: CompareSide): CompareSide => (side.input.remount === null ? { ...side, input: { ...side.input, remount: other.input.remount } } : side);

/** Another part means another mounting; else the name that the article file gives decides. */
function mountingOf(a: CompareSide, b: CompareSide, differs: Comparison['differs'], remounted: boolean): Comparison['mounting'] {
  const mountings = (side: CompareSide): number => new Set(side.input.runs.map((r) => r.mounting)).size;
  const about = differs.filter((d) => d.what.startsWith('motor') || d.what.startsWith('propeller') || d.what === 'mounting');
  if (remounted || about.some((d) => d.a !== null && d.b !== null) || mountings(a) > 1 || mountings(b) > 1) return 'other';
  return about.length > 0 || a.bench.mounting === null ? 'unknown' : 'same';
}

function metricsOf(a: CompareSide, b: CompareSide, settings: readonly string[], ties: Ties): Pick<Comparison, 'metrics' | 'not_compared'> {
  const not_compared: Comparison['not_compared'] = [];
  const reference = referenceSpeed(a.input);
  const columnsOf = (side: CompareSide): Column[] => collect(side.input).map((c) => (c.name === 'power_at_equal_speed_W' ? atSpeed(c, side.input, reference) : c));
  const of = { a: columnsOf(a), b: columnsOf(b) };
  const stop = labelsNotCompared(a, b, not_compared);
  const named = new Set([...keysOfInterest(a.input), ...keysOfInterest(b.input)]);
  const metrics: ComparedMetric[] = [];
  for (const column of of.a) {
    const other = of.b.find((c) => c.key === column.key && c.label === column.label);
    if (stop.has(column.label)) continue;
    const why = other === undefined ? 'the second campaign does not give it' : hoverDiffers(column.name, a.bench, b.bench);
    if (why !== null || other === undefined) not_compared.push({ what: metricFact(column.key).title, reason: why ?? '' });
    else metrics.push(metricOf(column, other, { a: a.input, b: b.input, settings, ties, interest: named.has(column.key) || named.size === 0 }));
  }
  for (const column of of.b) {
    if (!stop.has(column.label) && !of.a.some((c) => c.key === column.key && c.label === column.label)) not_compared.push({ what: metricFact(column.key).title, reason: 'the first campaign does not give it' });
  }
  return { metrics: heldTogether(metrics, a.input.confidence), not_compared };
}

/** Labels whose protocol or parameters differ; each is named once. */
function labelsNotCompared(a: CompareSide, b: CompareSide, out: Comparison['not_compared']): Set<string> {
  const stop = new Set<string>();
  for (const label of new Set([...a.input.labels, ...b.input.labels])) {
    const [x, y] = [a.bench.protocols[label], b.bench.protocols[label]];
    if (x !== undefined && y !== undefined && x.plays === y.plays) continue;
    stop.add(label);
    const reason = x === undefined ? 'only the second campaign ran it' : y === undefined ? 'only the first campaign ran it'
      : x.text === y.text ? `both are written as ${x.text}, but what is played differs` : `its parameters differ: ${x.text} against ${y.text}`;
    out.push({ what: `protocol ${label}`, reason });
  }
  return stop;
}

function hoverDiffers(name: string, a: CompareBench, b: CompareBench): string | null {
  if (!name.includes('at_hover') || a.hover_thrust_N === b.hover_thrust_N) return null;
  const shown = (v: number | null): string => (v === null ? 'none' : `${v.toPrecision(4)} N`);
  return `the hover thrust differs: ${shown(a.hover_thrust_N)} against ${shown(b.hover_thrust_N)}`;
}

/** Speed at which both campaigns are read for power at equal speed: the mean at hover in the first. */
function referenceSpeed(input: CampaignInput): number | null {
  const speeds = input.runs.flatMap((r) => r.metrics?.metrics.filter((m) => m.name === 'speed_at_hover_rpm').flatMap((m) => m.value ?? []) ?? []);
  return speeds.length === 0 ? null : speeds.reduce((s, v) => s + v, 0) / speeds.length;
}

function atSpeed(column: Column, input: CampaignInput, reference: number | null): Column {
  const repeats = input.runs.flatMap((run): Repeat[] => {
    if (run.label !== column.label || (run.metrics?.curve ?? null) === null) return [];
    const { value, effects, flags } = powerAtSpeed(run.metrics?.curve ?? null, reference);
    return value === null ? [] : [{ run: run.id, index: run.index, setting: run.setting, mounting: run.mounting, kind: run.kind, value, effects, flags, ...dofsIn(run) }];
  });
  return { ...column, repeats };
}

type Context = { readonly a: CampaignInput; readonly b: CampaignInput; readonly settings: readonly string[]; readonly ties: Ties; readonly interest: boolean };
type Sides = { readonly a: Group; readonly b: Group };

function metricOf(a: Column, b: Column, context: Context): ComparedMetric {
  const { key } = a;
  const fact = metricFact(key);
  const margin = context.a.margins[key] ?? context.b.margins[key];
  const groups = (c: Column, input: CampaignInput): Group[] => input.settings.map((s) => {
    const repeats = c.repeats.filter((r) => r.setting === s.id);
    return { setting: s.id, repeats, used: repeats.map((r) => r.value) };
  });
  const all = { a: groups(a, context.a), b: groups(b, context.b) };
  const poolings = { a: poolingOf(all.a), b: poolingOf(all.b) };
  const pick = (list: readonly Group[], id: string): Group => list.find((g) => g.setting === id) ?? { setting: id, repeats: [], used: [] };
  const pairs = context.settings.map((id): Sides => ({ a: pick(all.a, id), b: pick(all.b, id) }));
  const marginAt = (base: number | null): number | null => { const m = margin === undefined ? null : marginIn(key, margin, base); return m?.ok === true ? m.value : null; };
  const rows = pairs.map((p) => rowOf(key, [p], p.a.setting, poolings, context, marginAt(meanOf(p.a.used)), pairs.length));
  const both = pairs.filter((p) => p.a.used.length > 0 && p.b.used.length > 0);
  const overall = both.length < 2 || isCount(key) ? null : rowOf(key, both, null, poolings, context, marginAt(meanOf(both.map((p) => meanOf(p.a.used) ?? 0))), 1);
  return { key, title: fact.title, unit: fact.unit, shown: fact.shown, better: fact.better, of_interest: context.interest, margin_text: margin?.text ?? null, overall, rows };
}

const meanOf = (v: readonly number[]): number | null => (v.length === 0 ? null : v.reduce((s, x) => s + x, 0) / v.length);

/** The difference at one setting, or the mean of the differences at several with equal weights. */
function rowOf(key: string, pairs: readonly Sides[], setting: string | null, poolings: { a: Pooling; b: Pooling }, context: Context, margin: number | null, family: number): ComparedRow {
  const { confidence } = context.a;
  const id = setting ?? 'all';
  const side = (which: 'a' | 'b') => sideAt(key, pairs.map((p) => p[which]), poolings[which], context[which]);
  const [a, b] = [side('a'), side('b')];
  const group = (which: 'a' | 'b'): Group => ({ setting: id, repeats: pairs.flatMap((p) => p[which].repeats), used: pairs.length === 1 ? pairs[0][which].used : pairs.map((p) => meanOf(p[which].used) ?? 0) });
  const shown = { a: a.shown, b: b.shown };
  const rules = { key, margin, confidence };
  if (isCount(key)) return { setting, ...shown, contrast: countRow(key, group('a'), group('b'), confidence), u_repeats: null, u_calibration: null, u_remount: null, flags: [] };
  const why = a.shown.reason ?? b.shown.reason;
  const flags: string[] = [];
  if (why !== null || a.part === null || b.part === null || a.shown.value === null || b.shown.value === null) {
    const reason = a.shown.value === null ? `the first campaign has ${a.shown.reason ?? 'no value'}` : b.shown.value === null ? `the second campaign has ${b.shown.reason ?? 'no value'}` : why ?? 'no spread is known';
    const none = judged(noResult(reason), group('b'), group('a'), rules, family + 1);
    const difference = a.shown.value === null || b.shown.value === null ? null : b.shown.value - a.shown.value;
    const contrast = { ...none, difference, relative: difference === null || a.shown.value === 0 ? null : difference / Math.abs(a.shown.value ?? 1) };
    return { setting, ...shown, contrast, u_repeats: null, u_calibration: null, u_remount: null, flags };
  }
  const repeats = combine([{ name: 'first', ...a.part }, { name: 'second', ...b.part }]);
  const calibration = calibrationOf(a.effects, b.effects, context.ties, dofsOf(...pairs.flatMap((p) => [p.a.repeats, p.b.repeats])));
  const u_calibration = calibration.u;
  const remount = remountPart(a, b, context, flags);
  const sum = combine([{ name: 'repeats', u: repeats.u, dof: dofNumber(repeats.dof) }, { name: 'calibration', ...calibration }, { name: 're-mounting', ...remount }]);
  const fixed = combine([{ name: 'calibration', ...calibration }, { name: 're-mounting', ...remount }]);
  const d = b.shown.value - a.shown.value;
  const result = differenceOf(d, sum.u, dofNumber(sum.dof), confidence, family);
  const contrast = judged(result, group('b'), group('a'), rules, family + 1);
  // Repeats can take their own part away and no more.
  const best = judged(differenceOf(d, fixed.u, dofNumber(fixed.dof), confidence, family), group('b'), group('a'), rules, family + 1);
  const hopeless = contrast.verdict === 'open' && fixed.u > 0 && best.verdict === 'open';
  const settled = setting === null || hopeless ? { ...contrast, more_repeats: null } : contrast;
  const text = contrast.verdict === 'open' && (hopeless || setting === null) ? 'not settled' : contrast.text;
  if (hopeless) flags.push(`${remount.u > u_calibration ? 're-mounting' : 'calibration'} alone leaves it open: more repeats would not settle it`);
  return { setting, ...shown, contrast: { ...settled, text }, u_repeats: repeats.u, u_calibration, u_remount: remount.u, flags };
}

/** A difference with a simultaneous interval over `family` settings (Bonferroni), p multiplied alike. */
function differenceOf(d: number, u: number, dof: number, confidence: number, family: number): Difference | NoResult {
  if (!(u > 0)) return noResult('nothing scatters and no uncertainty is stated, so nothing can judge the difference');
  const t = d / u;
  return { ok: true, difference: d, u, dof, t, p: Math.min(1, family * tTwoSidedP(t, dof)), interval: around(d, coverageFactor(1 - (1 - confidence) / family, dof) * u, confidence), method: family > 1 ? 'two campaigns, Welch–Satterthwaite, Bonferroni' : 'two campaigns, Welch–Satterthwaite' };
}

type Side = {
  readonly shown: ComparedRow['a'];
  /** From repeats; null where nothing tells the spread. */
  readonly part: Component | null;
  readonly effects: Effects;
  /** Re-mounting of one mounting, from the rig's study; null where it has none for this metric or the repeats hold several mountings. */
  readonly remount: Component | null;
  readonly severalMountings: boolean;
};

function sideAt(key: string, groups: readonly Group[], pooling: Pooling, input: CampaignInput): Side {
  // Type A alone, with mountings as a level: the value of a setting without its instruments.
  const bare = groups.map((g) => settingValue(key, { ...g, repeats: g.repeats.map((r) => ({ ...r, effects: {} })) }, pooling, { ...input, remount: null }).estimate);
  const values = bare.map((e) => e.value);
  const k = groups.length;
  const value = values.some((v) => v === null) ? null : values.reduce<number>((s, v) => s + (v ?? 0), 0) / k;
  const n = groups.reduce((s, g) => s + g.used.length, 0);
  const several = groups.some((g) => new Set(g.repeats.map((r) => r.mounting)).size > 1);
  const us = bare.map((e) => e.u);
  const known = value !== null && us.every((u) => u !== null);
  const part = !known ? null : pooling.pooled !== null && !several ? { u: Math.sqrt(us.reduce<number>((s, u) => s + (u ?? 0) ** 2, 0)) / k, dof: pooling.pooled.dof }
    : asComponent(combine(bare.map((e, i) => ({ name: String(i), u: (e.u ?? 0) / k, dof: dofNumber(e.dof) }))));
  const all = groups.map((g) => meanEffects(g.repeats));
  const effects: Record<string, number> = {};
  for (const e of all) for (const [input, effect] of Object.entries(e)) effects[input] = (effects[input] ?? 0) + effect / k;
  const shares = groups.map((g) => settingValue(key, g, pooling, input).remount);
  const remount = input.remount === null || shares.some((s) => s === null) ? null : { u: shares.reduce<number>((s, u) => s + (u ?? 0), 0) / k, dof: input.remount.mounts - 1 };
  const reason = value === null ? 'no usable repeats' : part === null ? 'one repeat: its spread is unknown, so there is no interval' : null;
  return { shown: { n, value, u_repeats: part?.u ?? null, reason }, part, effects, remount, severalMountings: several };
}

const asComponent = ({ u, dof }: { readonly u: number; readonly dof: number | null }): Component => ({ u, dof: dofNumber(dof) });

/** What calibration does to the difference: a gain that both share cancels as far as the values agree; a zero may wander from day to day. */
function calibrationOf(a: Effects, b: Effects, ties: Ties, dofs: InputDofs): Component {
  const apart = effectsOnDifference(a, b);
  for (const input of Object.keys(apart)) {
    const shared = ties.calibration === 'same' && (ties.sameDay || !input.endsWith('_offset'));
    if (!shared && (input in a || input in b)) apart[input] = Math.hypot(a[input] ?? 0, b[input] ?? 0);
  }
  return instrumentPart(apart, dofs);
}

const NONE: Component = { u: 0, dof: Infinity };

/** Each side that stood in one mounting brings that mounting's own effect, unless it is the same mounting. */
function remountPart(a: Side, b: Side, { a: inputA, b: inputB, ties }: Context, flags: string[]): Component {
  if (ties.mounting === 'same') return NONE;
  const parts = [a, b].filter((s) => !s.severalMountings);
  if (parts.some((s) => s.remount === null)) {
    flags.push(inputA.remount !== null ? 'the repeatability study does not cover this metric: the interval leaves re-mounting out' : 'no repeatability study: the interval leaves re-mounting out');
    return NONE;
  }
  const known = parts.flatMap((s) => s.remount ?? []);
  if (known.length === 0) return NONE;
  const u = Math.hypot(...known.map((c) => c.u));
  // One study stands for both sides: its spread is known no better for being used twice.
  return JSON.stringify(inputA.remount) === JSON.stringify(inputB.remount) ? { u, dof: known[0].dof } : asComponent(combine(known.map((c, i) => ({ name: String(i), ...c }))));
}

function countRow(key: string, a: Group, b: Group, confidence: number): ComparedRow['contrast'] {
  const [row] = countContrasts(key, [a, b], 0, confidence);
  return row;
}

/** Holm over the metrics of interest, setting by setting and for the mean over settings. */
function heldTogether(metrics: readonly ComparedMetric[], confidence: number): ComparedMetric[] {
  const family = metrics.filter((m) => m.of_interest);
  const adjusted = protect(family.map((m) => [...(m.overall === null ? [] : [m.overall.contrast]), ...m.rows.map((r) => r.contrast)]), confidence);
  return metrics.map((m) => {
    const mine = !family.includes(m) ? null : adjusted[family.indexOf(m)];
    if (mine === null) return m;
    const rest = m.overall === null ? mine : mine.slice(1);
    return { ...m, overall: m.overall === null ? null : { ...m.overall, contrast: mine[0] }, rows: m.rows.map((r, i) => ({ ...r, contrast: rest[i] })) };
  });
}
