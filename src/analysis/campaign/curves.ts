/** Curves and steps of a setting: means over runs with the spread between runs. */
import type { ResultCurve, ResultStep } from '../../model/results';
import { pchip } from '../curves/pchip';
import type { MeanStep } from '../metrics/response';
import { CURVE_QUANTITIES, type RunCurve } from '../metrics/run-curve';
import type { CampaignInput } from './input';

type Band = NonNullable<ResultCurve['thrust_N']>;

/** The mean curves of every setting and label that has any. */
export function curvesOf(input: CampaignInput): ResultCurve[] {
  return each(input, (r) => (r?.curve === null || r === null ? [] : [r.curve])).map(({ setting, label, items }) => {
    const throttle = [...items[0].throttle];
    const same = items.filter((c) => c.throttle.length === throttle.length && c.throttle.every((x, i) => Math.abs(x - throttle[i]) < 1e-6));
    const band = (of: (c: RunCurve) => readonly (number | null)[] | null): Band | null => {
      const rows = same.flatMap((c) => { const v = of(c); return v === null ? [] : [v]; });
      return rows.length === 0 ? null : bandOf(rows);
    };
    const quantities = Object.fromEntries(CURVE_QUANTITIES.map((q) => [q, band((c) => c.values[q])])) as Record<(typeof CURVE_QUANTITIES)[number], Band | null>;
    return {
      setting, label, source: items[0].source, runs: same.length, throttle, ...quantities,
      // A ratio of fits, run by run: thrust per watt need not rise or fall evenly.
      efficacy_N_per_W: band((c) => {
        const { thrust_N, power_W } = c.values;
        return thrust_N === null || power_W === null ? null : thrust_N.map((t, i) => (power_W[i] > 0 ? t / power_W[i] : null));
      }),
    };
  });
}

/** Mean and standard error at every point over runs. */
function bandOf(rows: readonly (readonly (number | null)[])[]): Band {
  const mean: (number | null)[] = [];
  const u: (number | null)[] = [];
  rows[0].forEach((_, i) => {
    const values = rows.flatMap((r) => { const v = r[i]; return v === null ? [] : [v]; });
    const n = values.length;
    const m = n === 0 ? null : values.reduce((a, b) => a + b, 0) / n;
    mean.push(m);
    u.push(m === null || n < 2 ? null : Math.sqrt(values.reduce((s, v) => s + (v - m) ** 2, 0) / (n - 1) / n));
  });
  return { mean, u };
}

/** Points of a mean step, s, from before the command on. */
const STEP_GRID_S = 0.002;
const STEP_FROM_S = -0.02;

/** The mean step of every setting, label and direction. */
export function stepsOf(input: CampaignInput): ResultStep[] {
  return (['rise', 'fall'] as const).flatMap((direction) =>
    each(input, (r) => r?.steps.filter((s) => s.direction === direction && s.t_s.length > 1) ?? []).map(({ setting, label, items }) => ({ setting, label, direction, runs: items.length, ...meanOfSteps(items) })));
}

function meanOfSteps(steps: readonly MeanStep[]): { t_s: number[]; fraction: number[] } {
  const end = Math.min(...steps.map((s) => s.t_s[s.t_s.length - 1]));
  const curves = steps.map((s) => pchip(s.t_s, s.fraction));
  const n = Math.max(1, Math.floor((end - STEP_FROM_S) / STEP_GRID_S));
  const t_s = Array.from({ length: n }, (_, i) => Math.round((STEP_FROM_S + i * STEP_GRID_S) * 1e6) / 1e6);
  return { t_s, fraction: t_s.map((t) => curves.reduce((sum, c) => sum + c.at(t), 0) / curves.length) };
}

/** Things that runs hold, gathered by setting and label in the order of the plan. */
function each<T>(input: CampaignInput, of: (metrics: CampaignInput['runs'][number]['metrics']) => readonly T[]): { setting: string; label: string; items: T[] }[] {
  return input.settings.flatMap((s) => input.labels.flatMap((label) => {
    const items = input.runs.filter((r) => r.setting === s.id && r.label === label).flatMap((r) => of(r.metrics));
    return items.length === 0 ? [] : [{ setting: s.id, label, items }];
  }));
}
