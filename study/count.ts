/** From one line a seed to coverage: how often the interval held the truth. */
import { normalCdf } from '../src/analysis/stats/quantiles';
import { METRIC_NAMES, metricFact } from '../src/analysis/metrics/catalogue';
import { QUICK_TOP, REPEATS } from './cells';
import type { SeedLine, Told } from './seed';
import { NOMINAL, trueValue, type Truths } from './truth/truth';

/** One figure of the study. */
export type Covered = {
  readonly metric: string;
  /** Seeds with an interval, and how many of those held the truth. */
  readonly n: number;
  readonly held: number;
  /** Mean of value − truth, and its standard deviation over seeds, both over the mean standard uncertainty claimed. */
  readonly bias: number;
  readonly spread: number;
  /** Mean half-width over the truth. */
  readonly width: number;
  /** Seeds with a value but no interval, or with none at all. */
  readonly without: number;
  /** The interval has no width: exact by definition. */
  readonly exact: boolean;
  /** A number of events of which less than one is expected in all runs of a bench: every interval for it holds more often than in 95 %. */
  readonly rare: boolean;
  /** The greatest rate at which a correct interval can hold the truth; see `greatest`. */
  readonly most: number;
};

/** Counts that have no fixed truth in the simulated rig: the mean over all seeds stands for it. */
const BY_MEAN = ['desyncs'];

/** Truth of a metric at the base setting, or of its difference there; null where the study knows none. */
function truthOf(truths: Truths, line: SeedLine, metric: string, setting: string): number | null {
  const at = (name: string): number | null => trueValue(truths, setting, name, line);
  if (metric === 'hold_correction') {
    // The loop holds what its sensor shows, so how far that is from the target in truth is the sensor's own error.
    const target = at('hold_current_A');
    return target === null ? null : target / ((target - line.currentOffset_A) / (1 + line.currentGain)) - 1;
  }
  if (metric !== 'power_at_equal_speed_W') return at(metric);
  // Along the steady curve of the setting, from its own hover speed to the speed at which shipped analysis read it.
  const [power, speed, exponent] = [at('power_at_hover_W'), at('speed_at_hover_rpm'), at('power_exponent')];
  return power === null || speed === null || exponent === null || line.reference_rpm === null ? null : power * (line.reference_rpm / speed) ** exponent;
}

/** Coverage of every metric at the base setting. */
export function coverage(lines: readonly SeedLine[], truths: Truths): Covered[] {
  return METRIC_NAMES.flatMap((metric): Covered[] => {
    const told = lines.flatMap((line) => { const t = line.values[metric]; return t === undefined ? [] : [{ line, t }]; });
    if (told.length === 0) return [];
    const mean = BY_MEAN.includes(metric) ? told.reduce((s, { t }) => s + (t.value ?? 0), 0) / told.length : null;
    const rare = mean !== null && mean * REPEATS < 1;
    return [{ ...counted(metric, told.map(({ line, t }) => ({ t, truth: mean ?? truthOf(truths, line, metric, 'base') }))), rare }];
  });
}

/** Coverage of the difference to another setting, metric by metric. */
export function contrastCoverage(lines: readonly SeedLine[], truths: Truths, setting: string): Covered[] {
  return METRIC_NAMES.flatMap((metric): Covered[] => {
    if (metricFact(metric).name === 'desyncs') return [];
    const told = lines.flatMap((line) => {
      const t = line.contrasts[setting]?.[metric];
      const [a, b] = [truthOf(truths, line, metric, 'base'), truthOf(truths, line, metric, setting)];
      return t === undefined || a === null || b === null ? [] : [{ t, truth: b - a }];
    });
    return told.length === 0 ? [] : [counted(metric, told)];
  });
}

/**
 * The greatest rate at which a correct 95 % interval can hold. An error with a bound may be anything up to it, so it may as well be
 * nothing; the truth then scatters by the rest of u² alone, and the interval holds in P(|z| ≤ 1.96/√rest). Intervals for a number
 * of events hold at least as often as stated, and may hold always.
 */
function greatest(metric: string, bounded: number): number {
  if (BY_MEAN.includes(metric)) return 1;
  return bounded >= 1 ? 1 : 1 - 2 * normalCdf(-1.96 / Math.sqrt(1 - bounded));
}

function counted(metric: string, all: readonly { readonly t: Told; readonly truth: number | null }[]): Covered {
  const good = all.flatMap(({ t, truth }) => (truth === null || t.value === null || t.lower === null || t.upper === null || t.u === null ? [] : [{ value: t.value, lower: t.lower, upper: t.upper, u: t.u, bounded: t.bounded, truth }]));
  const n = good.length;
  const mean = (f: (g: (typeof good)[number]) => number): number => (n === 0 ? NaN : good.reduce((s, g) => s + f(g), 0) / n);
  const u = mean((g) => g.u);
  const off = mean((g) => g.value - g.truth);
  return {
    metric, n, held: good.filter((g) => g.lower <= g.truth && g.truth <= g.upper).length, without: all.length - n, rare: false, exact: n > 0 && good.every((g) => g.upper === g.lower),
    bias: off / u, spread: Math.sqrt(mean((g) => (g.value - g.truth - off) ** 2)) / u, width: mean((g) => (g.upper - g.lower) / 2 / Math.abs(g.truth)),
    most: greatest(metric, mean((g) => g.bounded)),
  };
}

/** How often a verdict was given, over the seeds that gave one. */
export type Claimed = { readonly what: string; readonly metric: string; readonly n: number; readonly claims: number };

const SETTLED = ['better', 'worse', 'different'];

/** A against A: every metric that the two settings share. */
export const nullClaims = (lines: readonly SeedLine[]): Claimed[] => claims(lines, 'same', 'A against A called different', (v) => SETTLED.includes(v));
/**
 * Switching frequency does nothing at full throttle, where nothing is switched: speed after the quick way there. Counted only
 * where that is so in truth, to three tenths of the standard uncertainty of the difference.
 */
export function frequencyClaims(lines: readonly SeedLine[], truths: Truths): Claimed[] {
  const key = `${QUICK_TOP}.full_throttle_rpm`;
  const told = lines.flatMap((l) => { const c = l.contrasts.switching?.[key]; return c === undefined || c.u === null ? [] : [{ verdict: c.verdict, u: c.u }]; });
  const [a, b] = [trueValue(truths, 'base', key, NOMINAL), trueValue(truths, 'switching', key, NOMINAL)];
  const u = told.reduce((s, c) => s + c.u, 0) / told.length;
  if (told.length === 0 || a === null || b === null || Math.abs(b - a) > NULL_SHARE * u) return [];
  return [{ what: 'frequency called different', metric: key, n: told.length, claims: told.filter((c) => SETTLED.includes(c.verdict)).length }];
}

/** A true difference below this share of its standard uncertainty is none: it raises the rate of wrong claims from 5.0 to 6.0 %. */
const NULL_SHARE = 0.3;
/** "No difference beyond the margin" where the true difference is the margin. */
export const wrongEquivalences = (lines: readonly SeedLine[], truths: Truths): Claimed[] =>
  claims(lines, 'switching', 'true difference = margin, called the same', (v) => v === 'same').filter((c) => differs(truths, c.metric));
/** Timing advance called the same on the dynamics, within 5 %. */
export const timingClaims = (lines: readonly SeedLine[]): Claimed[] =>
  claims(lines, 'timing', 'timing found equivalent within 5 %', (v) => v === 'same').filter((c) => ['rise_t50_s', 'rise_t80_s', 'fall_t50_s', 'fall_t80_s'].includes(c.metric));

const differs = (truths: Truths, metric: string): boolean => {
  const [a, b] = [trueValue(truths, 'base', metric, NOMINAL), trueValue(truths, 'switching', metric, NOMINAL)];
  return a !== null && b !== null && Math.abs(b - a) > 1e-6 * Math.abs(a);
};

function claims(lines: readonly SeedLine[], setting: string, what: string, is: (verdict: string) => boolean): Claimed[] {
  return METRIC_NAMES.flatMap((metric): Claimed[] => {
    const told = lines.flatMap((l) => { const c = l.contrasts[setting]?.[metric]; return c === undefined || c.verdict === 'none' ? [] : [c]; });
    return told.length === 0 ? [] : [{ what, metric, n: told.length, claims: told.filter((c) => is(c.verdict)).length }];
  });
}
