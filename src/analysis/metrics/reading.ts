/**
 * A figure on its way from samples to a metric: its value, its own scatter, and how far each instrument input would move it.
 * Derived figures propagate both to first order (JCGM 100:2008, 5.1), so a gain that two figures share stays shared.
 */
import { combine } from '../stats/uncertainty';
import { estimate, missing, type Estimate } from '../stats/estimate';
import { metricFact, type MetricName } from './catalogue';

/** Signed effect, in the figure's unit, of one standard uncertainty of each instrument input, e.g. `thrust_gain`. */
export type Effects = Readonly<Record<string, number>>;

/** A figure with what is known about its uncertainty. */
export type Reading = {
  readonly value: number;
  /** Standard error within the run; it is no substitute for repeats. */
  readonly within: number;
  readonly effects: Effects;
};

/** A figure known exactly. */
export const exact = (value: number): Reading => ({ value, within: 0, effects: {} });

/** Mean and its standard error. Steps of one train share the run: the error is that of this run, not of repeats. */
export function centre(values: readonly number[]): Pick<Reading, 'value' | 'within'> {
  const n = values.length;
  const mean = values.reduce((a, b) => a + b, 0) / n;
  const square = values.reduce((sum, v) => sum + (v - mean) ** 2, 0);
  return { value: mean, within: n < 2 ? 0 : Math.sqrt(square / (n - 1) / n) };
}

/** f of other readings, given f's value and its partial derivatives. */
export function derived(value: number, parts: readonly (readonly [Reading, number])[]): Reading {
  let square = 0;
  const effects: Record<string, number> = {};
  for (const [reading, slope] of parts) {
    square += (slope * reading.within) ** 2;
    for (const [input, effect] of Object.entries(reading.effects)) effects[input] = (effects[input] ?? 0) + slope * effect;
  }
  return { value, within: Math.sqrt(square), effects };
}

/** a / b. */
export const over = (a: Reading, b: Reading): Reading => derived(a.value / b.value, [[a, 1 / b.value], [b, -a.value / b.value ** 2]]);
/** a · b. */
export const times = (a: Reading, b: Reading): Reading => derived(a.value * b.value, [[a, b.value], [b, a.value]]);
/** a − b. */
export const minus = (a: Reading, b: Reading): Reading => derived(a.value - b.value, [[a, 1], [b, -1]]);

/** A metric of one run. `u` is that of this run alone: calibration and scatter inside it, not what repeats would show. */
export type RunMetric = Estimate & { readonly name: MetricName; readonly effects: Effects };

const ESTIMAND = 'this run';
/** Batch means of a plateau leave this many degrees of freedom. */
const WITHIN_DOF = 9;

/** A metric from a reading. */
export function metric(name: MetricName, reading: Reading, method: string, flags: readonly string[] = []): RunMetric {
  const about = { unit: metricFact(name).unit, method, estimand: ESTIMAND, flags };
  const parts = Object.entries(reading.effects).map(([input, effect]) => ({ name: input, u: Math.abs(effect), dof: Infinity }));
  const finite = parts.every((p) => Number.isFinite(p.u)) && Number.isFinite(reading.within);
  const sum = finite ? combine([{ name: 'within the run', u: reading.within, dof: WITHIN_DOF }, ...parts]) : null;
  return { name, ...estimate(reading.value, sum?.u ?? null, sum?.dof ?? null, about), effects: finite ? reading.effects : {} };
}

/** A metric that this run does not give, with the reason. */
export const noMetric = (name: MetricName, reason: string, flags: readonly string[] = []): RunMetric =>
  ({ name, ...missing({ unit: metricFact(name).unit, method: 'none', estimand: ESTIMAND, flags }, reason), effects: {} });
