/** All metrics of one run. Which ones follow from the roles of its segments, so a bench's own protocols are measured too. */
import { withRole, type RunData } from '../run-data';
import { runFlags, thrustZero } from './common';
import { fullThrottleMetrics, readPlateau } from './full-throttle';
import { holdMetrics } from './hold';
import { kvMetrics } from './kv';
import type { RunMetric } from './reading';
import { responseMetrics, type MeanStep } from './response';
import type { MetricName } from './catalogue';

/** What one run gives. */
export type RunMetrics = {
  readonly record_id: string;
  readonly simulated: boolean;
  readonly protocol: string;
  readonly version: string;
  readonly duration_s: number;
  readonly metrics: readonly RunMetric[];
  /** Mean step responses; empty where no steps were played. */
  readonly steps: readonly MeanStep[];
  readonly desyncs: number;
  readonly stepsLeftOut: number;
  readonly zeroDrift_N: number | null;
  readonly flags: readonly string[];
};

/** Computes every metric that the run's segments allow. */
export function runMetrics(data: RunData): RunMetrics {
  const has = (role: string): boolean => withRole(data, role).length > 0;
  const zero = thrustZero(data);
  const metrics: RunMetric[] = [];
  const isKv = data.protocol === 'kv';
  if (isKv) metrics.push(...kvMetrics(data));
  else if (has('plateau')) metrics.push(...fullThrottleMetrics(data, zero, readPlateau(data, zero)));
  if (has('hold')) metrics.push(...holdMetrics(data));
  const response = has('step-up') || has('step-down') ? responseMetrics(data) : null;
  if (response !== null) metrics.push(...response.metrics);
  const desyncs = data.desyncs.length;
  return {
    record_id: data.record_id, simulated: data.simulated, protocol: data.protocol, version: data.version, duration_s: data.duration_s,
    metrics, steps: response?.steps ?? [], desyncs, stepsLeftOut: response?.leftOut ?? 0, zeroDrift_N: zero.drift_N,
    flags: [...runFlags(data), ...(desyncs > 0 ? [`${desyncs} desync${desyncs === 1 ? '' : 's'} in the run`] : [])],
  };
}

/** A metric of a run by name; null when the run does not give it. */
export const metricOf = (run: Pick<RunMetrics, 'metrics'>, name: MetricName): RunMetric | null => run.metrics.find((m) => m.name === name) ?? null;
