/** All metrics of one run. Which ones follow from the roles of its segments, so a bench's own protocols are measured too. */
import type { ClosestApproach } from '../../model/trip';
import { withRole, type RunData } from '../run-data';
import { inputDofs, outsideSpan, withDofs, withSpanFlags, type InputDofs } from './calibration-facts';
import { runFlags, thrustZero } from './common';
import { fullThrottleMetrics, readPlateau } from './full-throttle';
import { holdMetrics } from './hold';
import { kvMetrics } from './kv';
import type { RunMetric } from './reading';
import { responseMetrics, type MeanStep } from './response';
import { hoverMetrics, type RunCurve } from './run-curve';
import { soakMetrics } from './soak';
import { spinUpMetrics, type Starts } from './spin-up';
import { staircaseCurve } from './staircase';
import { sweepCurve } from './thrust-curve';
import type { MetricName } from './catalogue';

/** What one run gives. */
export type RunMetrics = {
  readonly record_id: string;
  readonly simulated: boolean;
  readonly protocol: string;
  readonly version: string;
  readonly duration_s: number;
  readonly metrics: readonly RunMetric[];
  /** Degrees of freedom of the calibrated inputs in the metrics' effects. */
  readonly dofs?: InputDofs;
  /** Mean step responses; empty where no steps were played. */
  readonly steps: readonly MeanStep[];
  /** Curves over throttle; null where the run has no sweep or staircase. */
  readonly curve: RunCurve | null;
  /** Counted starts; null where none were tried. */
  readonly starts: Starts | null;
  readonly desyncs: number;
  readonly stepsLeftOut: number;
  readonly closest: readonly ClosestApproach[];
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
  let curve: RunCurve | null = null;
  const curveFlags: string[] = [];
  if (!isKv && has('plateau') && has('ramp-up')) {
    const sweep = sweepCurve(data, zero);
    curve = sweep.curve;
    metrics.push(...sweep.metrics, ...hoverMetrics(curve, data.facts.hover_thrust_N));
  } else if (data.segments.some((s) => s.segment.role === 'level' && s.segment.tags?.level !== undefined)) {
    const stairs = staircaseCurve(data, zero);
    if (stairs.ok) curve = stairs.value;
    else curveFlags.push(stairs.reason);
    metrics.push(...hoverMetrics(curve, data.facts.hover_thrust_N));
  }
  if (has('hold')) metrics.push(...holdMetrics(data));
  const response = has('step-up') || has('step-down') ? responseMetrics(data) : null;
  if (response !== null) metrics.push(...response.metrics);
  const spinUp = data.segments.some((s) => s.segment.role === 'start' && s.segment.tags?.start !== undefined) ? spinUpMetrics(data) : null;
  if (spinUp !== null) metrics.push(...spinUp.metrics);
  if (has('soak')) metrics.push(...soakMetrics(data));
  const desyncs = data.desyncs.length;
  const dofs = inputDofs(data);
  const outside = outsideSpan(data.channels);
  return {
    record_id: data.record_id, simulated: data.simulated, protocol: data.protocol, version: data.version, duration_s: data.duration_s,
    metrics: metrics.map((m) => withSpanFlags(withDofs(m, dofs), outside)), dofs, steps: response?.steps ?? [], curve, starts: spinUp?.starts ?? null, desyncs, stepsLeftOut: response?.leftOut ?? 0, closest: data.outcome?.closest ?? [], zeroDrift_N: zero.drift_N,
    flags: [...runFlags(data), ...outside.values(), ...curveFlags, ...(desyncs > 0 ? [`${desyncs} desync${desyncs === 1 ? '' : 's'} in the run`] : [])],
  };
}

/** A metric of a run by name; null when the run does not give it. */
export const metricOf = (run: Pick<RunMetrics, 'metrics'>, name: MetricName): RunMetric | null => run.metrics.find((m) => m.name === name) ?? null;
