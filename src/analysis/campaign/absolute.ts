/** Values of settings: the mean of repeats with Type A, calibration (Type B) and re-mounting. */
import type { ResultEstimate, SettingValue } from '../../model/results';
import { metricFact } from '../metrics/catalogue';
import { componentsOf, leastDofs, type InputDofs } from '../metrics/calibration-facts';
import type { Effects } from '../metrics/reading';
import { randomEffects } from '../stats/anova';
import { estimate as estimateOf, expandedInterval, missing, type Estimate } from '../stats/estimate';
import { sd } from '../stats/summary';
import { typeA, typeAPooled, withComponents } from '../stats/uncertainty';
import { mayPool, pooledSd } from '../stats/variances';
import { isCount, isRate, type Repeat } from './collect';
import type { CampaignInput } from './input';
import { countEstimate, rateEstimate } from './rates';

/** Repeats of one setting with drift removed. */
export type Group = { readonly setting: string; readonly repeats: readonly Repeat[]; readonly used: readonly number[] };

/** A spread that may stand for all settings, or why there is none. */
export type Pooling = { readonly pooled: { readonly sd: number; readonly dof: number } | null; readonly why: string };

/** Whether the spreads of the settings may be pooled. */
export function poolingOf(groups: readonly Group[]): Pooling {
  const several = groups.filter((g) => g.used.length > 1).map((g) => g.used);
  if (several.length === 0) return { pooled: null, why: 'no setting has two repeats' };
  const answer = several.length === 1 ? { pool: true, reason: 'one setting alone has repeats' } : mayPool(several);
  const pooled = answer.pool ? pooledSd(several) : null;
  return pooled?.ok === true && pooled.sd > 0 ? { pooled, why: answer.reason } : { pooled: null, why: answer.reason };
}

/** Mean effect of each instrument input over the repeats: a gain is the same in every one, so it does not average out. */
export function meanEffects(repeats: readonly Repeat[]): Record<string, number> {
  const sum: Record<string, number> = {};
  for (const { effects } of repeats) for (const [input, effect] of Object.entries(effects)) sum[input] = (sum[input] ?? 0) + effect / repeats.length;
  return sum;
}

/** An input whose error is no calibration, and another one at every setting: how coarse a channel is, or what lag leaves. */
const isCoarseness = (input: string): boolean => /_resolution(_|$)/.test(input);

/**
 * Effects on b less a. A gain or an offset that both share cancels as far as the effects agree. What a coarse channel hides is another
 * error wherever the signal runs a little differently, even inside one step of it: nothing says that two settings share it, so both count, as two inputs: `…@1` of a and `…@2` of b.
 */
export function effectsOnDifference(a: Effects, b: Effects): Record<string, number> {
  const out: Record<string, number> = {};
  for (const k of new Set([...Object.keys(a), ...Object.keys(b)])) {
    if (!isCoarseness(k)) out[k] = (b[k] ?? 0) - (a[k] ?? 0);
    else for (const [side, effects] of [['1', a], ['2', b]] as const) if (k in effects) out[`${k}@${side}`] = effects[k];
  }
  return out;
}

/** Degrees of freedom of the instrument inputs of repeats. */
export const dofsOf = (...groups: readonly (readonly Repeat[])[]): InputDofs => leastDofs(groups.flat().map((r) => r.dofs));

/**
 * An input whose error has a bound, or nearly so: how coarse a channel is, what lag leaves, how old samples are. An interval holds the
 * middle 95 % of it, as of any error: of twenty benches one has clocks that stand to each other as in the outer twentieth.
 */
const isBounded = (input: string): boolean => isCoarseness(input) || input.endsWith('_timing');

/** Share of u² that is due to the largest error with a bound. */
export function boundedShare(effects: Effects, u: number | null): number {
  if (u === null || !(u > 0)) return 0;
  return Math.min(1, Math.max(0, ...Object.entries(effects).map(([input, e]) => (isBounded(input) ? (e / u) ** 2 : 0))));
}

/** √Σ effect². */
export const sizeOf = (effects: Effects): number => Math.sqrt(Object.values(effects).reduce((s, e) => s + e * e, 0));

/** The value of a metric at a setting. */
export function settingValue(key: string, group: Group, pooling: Pooling, input: CampaignInput & { readonly specimens?: boolean }): SettingValue {
  const { used, repeats } = group;
  const about = { unit: metricFact(key).unit, method: `mean of ${used.length} repeats`, estimand: 'this mounting', flags: flagsOf(repeats) };
  const empty = { setting: group.setting, n: used.length, sd: null, type_a: null, type_b: null, remount: null, values: [] };
  if (used.length === 0) return { ...empty, estimate: resultEstimate(missing(about, 'no usable repeats'), input.confidence) };
  if (isCount(key)) return countedValue(key, group, about, input.confidence, empty);
  const specimens = input.specimens === true;
  const over = specimens || input.estimand === 'over-mountings';
  const a = over ? repeatsEstimate(group, pooling, about, specimens ? 'specimen' : 'mounting') : insideEstimate(group, pooling, about);
  const effects = meanEffects(repeats);
  const remount = over ? remountOf(key, a.value ?? 0, input) : null;
  const whole = withComponents(a, [...componentsOf(effects, dofsOf(repeats)), ...(remount === null ? [] : [{ name: 're-mounting', u: remount.u, dof: remount.dof }])]);
  const mountings = new Set(repeats.map((r) => r.mounting)).size;
  const estimand = specimens && mountings > 1 ? `averaged over ${mountings} specimens` : over && (mountings > 1 || remount !== null) ? 'averaged over re-mounts' : mountings > 1 ? `these ${mountings} mountings` : 'this mounting';
  return {
    ...empty, sd: sd(used), type_a: a.u, type_b: sizeOf(effects), remount: remount?.u ?? null,
    estimate: resultEstimate({ ...whole, estimand }, input.confidence, boundedShare(effects, whole.u)),
    values: repeats.map((r, i) => ({ run: r.run, value: r.value, used: used[i] })),
  };
}

/** A rate over all tries of a setting, or events a run over all its runs. */
function countedValue(key: string, { repeats, used }: Group, about: Parameters<typeof typeA>[1], confidence: number, empty: Pick<SettingValue, 'setting' | 'n' | 'sd' | 'type_a' | 'type_b' | 'remount'>): SettingValue {
  const { value, u, interval, method } = isRate(key) ? rateEstimate(repeats, confidence) : countEstimate(repeats, confidence);
  const values = repeats.map((r, i) => ({ run: r.run, value: r.value, used: used[i] }));
  if (value === null) return { ...empty, values, estimate: resultEstimate(missing(about, 'the runs do not tell how many starts were tried'), confidence) };
  return { ...empty, sd: sd(used), type_a: u, values, estimate: { ...resultEstimate(estimateOf(value, u, null, { ...about, method }), confidence), interval: { ...interval } } };
}

/** Type A. With several mountings the spread of their means decides; else the repeats, with a pooled spread where allowed. */
function repeatsEstimate(group: Group, pooling: Pooling, about: Parameters<typeof typeA>[1], word: string): Estimate {
  const byMounting = new Map<number, number[]>();
  group.repeats.forEach((r, i) => byMounting.set(r.mounting, [...(byMounting.get(r.mounting) ?? []), group.used[i]]));
  if (byMounting.size > 1) {
    const split = randomEffects([...byMounting.values()]);
    if (split.ok) return estimateOf(split.mean, split.u, split.dof, { ...about, method: `mean of ${byMounting.size} ${word}s`, flags: [...(about.flags ?? []), ...split.flags] });
  }
  return pooling.pooled === null ? typeA(group.used, about) : typeAPooled(group.used, pooling.pooled, { ...about, method: `${about.method}, spread pooled over settings` });
}

/** Type A of these very mountings: what differs between them is no part of it. */
function insideEstimate(group: Group, pooling: Pooling, about: Parameters<typeof typeA>[1]): Estimate {
  const units = [...new Set(group.repeats.map((r) => r.mounting))];
  if (units.length < 2) return repeatsEstimate(group, pooling, about, 'mounting');
  const inside = pooledSd(units.map((u) => group.used.filter((_, i) => group.repeats[i].mounting === u)));
  return inside.ok ? typeAPooled(group.used, inside, { ...about, method: `${about.method} in ${units.length} mountings, spread inside them` }) : typeA(group.used, about);
}

/** What re-mounting adds to an absolute value, from the rig's repeatability study; null where none applies. */
function remountOf(key: string, value: number, { remount, runs }: CampaignInput): { u: number; dof: number } | null {
  if (remount === null || new Set(runs.map((r) => r.mounting)).size > 1) return null;
  const { shown } = metricFact(key);
  const share = shown === 'force' ? remount.thrust : shown === 'speed' || shown === 'kv' ? remount.speed
    : shown === 'power' || shown === 'current' ? remount.power
      : shown === 'efficacy' && remount.thrust !== null && remount.power !== null ? Math.hypot(remount.thrust, remount.power) : null;
  return share === null || share === 0 ? null : { u: share * Math.abs(value), dof: remount.mounts - 1 };
}

/** Flags of the repeats, each once, with how many carry it. */
function flagsOf(repeats: readonly Repeat[]): string[] {
  const count = new Map<string, number>();
  for (const r of repeats) for (const f of r.flags) count.set(f, (count.get(f) ?? 0) + 1);
  return [...count].map(([flag, n]) => (n === repeats.length ? flag : `${flag} (${n} of ${repeats.length} runs)`));
}

/** An estimate as results.json holds it. `share`: see `boundedShare`. */
export function resultEstimate(e: Estimate, confidence: number, share = 0): ResultEstimate {
  return { ...e, flags: [...e.flags], interval: { ...expandedInterval(e, confidence, share) } };
}
