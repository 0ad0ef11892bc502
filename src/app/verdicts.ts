// Running verdicts: of the figures so far, which setting leads on each metric, and whether that is settled. Cheap, and careful:
// whoever looks often and at whoever happens to lead needs wider intervals than a single look at one pair.
import { metricFact, METRIC_NAMES, type MetricName } from '../analysis/metrics/catalogue';
import { isCount } from '../analysis/campaign/collect';
import { marginIn } from '../analysis/campaign/metric';
import { pooledT, welch } from '../analysis/stats/compare';
import { coverageFactor } from '../analysis/stats/quantiles';
import { mayPool, pooledSd } from '../analysis/stats/variances';
import type { CampaignFile } from '../model/files';
import type { FigureValue } from './figure-value';

/** What the figures so far say of one metric. */
export interface RunningVerdict {
  readonly metric: MetricName;
  /** The setting with the best mean, in words, that mean, and its repeats so far. */
  readonly leader: string;
  readonly value: number;
  readonly repeats: number;
  /** How many others it is shown to be better than, and how many differ by less than the margin, for certain. */
  readonly ahead_of: number;
  readonly alike: number;
  /** The others, in words: nearest first. Nothing is settled against them. */
  readonly open: readonly string[];
  readonly settled: boolean;
  /** Whether one spread stands for all settings or each has its own; `none` while every setting has one repeat. */
  readonly spread: 'pooled' | 'own' | 'none';
}

/** A run as far as it matters here. */
export interface JudgedRun {
  readonly kind: 'cell' | 'baseline';
  readonly label: string;
  readonly setting: string;
  readonly mounting: number;
}

const CONFIDENCE = 0.95;

interface Repeats {
  readonly values: number[];
  readonly mountings: number[];
}

/**
 * Keeps the values of the metrics that a campaign is about and compares the leader with every other setting. Differences
 * are judged by t intervals with one spread where the settings' spreads allow it (else Welch's), at a confidence of 95 % over
 * all pairs together (Bonferroni): so they hold whichever setting happens to lead. Drift and calibration are left to the analysis.
 */
export class RunningVerdicts {
  private readonly metrics: readonly MetricName[];
  /** The first protocol that gives a metric counts for it. */
  private readonly labels = new Map<MetricName, string>();
  private readonly held = new Map<MetricName, Map<string, Repeats>>();

  /** @param settings text of each setting by id. @param wanted the metrics that the campaign is about */
  constructor(private readonly settings: ReadonlyMap<string, string>, wanted: readonly MetricName[], private readonly margins: CampaignFile['margins']) {
    this.metrics = wanted.filter((m) => metricFact(m).better !== 'none' && !isCount(m));
  }

  /** Takes a good run's figures. Runs of the baseline that show drift are no repeats of their setting and stay out. */
  note(run: JudgedRun, values: Readonly<Record<string, FigureValue>>): void {
    if (run.kind === 'baseline') return;
    for (const metric of this.metrics) {
      const value = values[metric]?.value;
      if (value === undefined || (this.labels.get(metric) ?? run.label) !== run.label) continue;
      this.labels.set(metric, run.label);
      const mine = this.held.get(metric) ?? new Map<string, Repeats>();
      this.held.set(metric, mine);
      const repeats = mine.get(run.setting) ?? { values: [], mountings: [] };
      mine.set(run.setting, repeats);
      repeats.values.push(value);
      repeats.mountings.push(run.mounting);
    }
  }

  /** One entry for each metric on which at least two settings have a value. */
  now(): RunningVerdict[] {
    return this.metrics.flatMap((metric) => {
      const held = this.held.get(metric);
      return held === undefined || held.size < 2 ? [] : [this.verdict(metric, held)];
    });
  }

  private verdict(metric: MetricName, held: ReadonlyMap<string, Repeats>): RunningVerdict {
    const groups = insideMountings(held).map((g) => ({ ...g, mean: g.values.reduce((a, b) => a + b, 0) / g.values.length }));
    const sign = metricFact(metric).better === 'more' ? -1 : 1;
    groups.sort((a, b) => sign * (a.mean - b.mean));
    const [leader, ...others] = groups;
    const margin = this.marginOf(metric, leader.mean);
    const several = groups.filter((g) => g.values.length > 1).map((g) => g.values);
    const pooled = several.length === 1 || (several.length > 1 && mayPool(several).pool) ? pooledSd(several) : null;
    const spread = several.length === 0 ? 'none' : pooled?.ok === true ? 'pooled' : 'own';
    const confidence = 1 - (1 - CONFIDENCE) / ((groups.length * (groups.length - 1)) / 2);
    let ahead_of = 0;
    let alike = 0;
    const open: string[] = [];
    for (const g of others) {
      const found = pooled?.ok === true ? pooledT(leader.values, g.values, CONFIDENCE, pooled) : welch(leader.values, g.values, CONFIDENCE);
      const reach = found.ok ? coverageFactor(confidence, found.dof) * found.u : Infinity;
      const difference = Math.abs(g.mean - leader.mean);
      if (difference > reach) ahead_of++;
      else if (margin !== null && difference + reach < margin) alike++;
      else open.push(this.settings.get(g.setting) ?? g.setting);
    }
    return {
      metric, leader: this.settings.get(leader.setting) ?? leader.setting, value: leader.mean, repeats: leader.values.length, ahead_of, alike, open, settled: open.length === 0, spread,
    };
  }

  private marginOf(metric: MetricName, near: number): number | null {
    const margin = Object.hasOwn(this.margins, metric) ? this.margins[metric] : undefined;
    const found = margin === undefined ? null : marginIn(metric, margin, near);
    return found?.ok === true ? found.value : null;
  }
}

/** The metrics that a campaign is about: those with a margin, in the objective or in a constraint; else `usual`. */
export function soughtMetrics({ margins, choice }: Pick<CampaignFile, 'margins' | 'choice'>, usual: readonly MetricName[]): readonly MetricName[] {
  const named = new Set<string>([...Object.keys(margins), ...(choice === null ? [] : [choice.objective.metric, ...choice.constraints.map((c) => c.metric)])]);
  const own = METRIC_NAMES.filter((name) => named.has(name));
  return own.length > 0 ? own : usual;
}

/**
 * What a mounting does to all settings alike is taken out, as far as settings were run in every mounting: contrasts live
 * inside a mounting. Where none was, the values stay as they are and the mountings count as scatter.
 */
function insideMountings(held: ReadonlyMap<string, Repeats>): { readonly setting: string; readonly values: readonly number[] }[] {
  const all = [...held].map(([setting, r]) => ({ setting, ...r }));
  const mountings = [...new Set(all.flatMap((g) => g.mountings))];
  const complete = all.filter((g) => mountings.every((m) => g.mountings.includes(m)));
  if (mountings.length < 2 || complete.length === 0) return all;
  const mean = (values: readonly number[]): number => values.reduce((a, b) => a + b, 0) / values.length;
  const effect = new Map(mountings.map((m) => [m, mean(complete.map((g) => mean(g.values.filter((_, i) => g.mountings[i] === m))))]));
  const centre = mean([...effect.values()]);
  return all.map((g) => ({ setting: g.setting, values: g.values.map((v, i) => v - (effect.get(g.mountings[i]) ?? centre) + centre) }));
}
