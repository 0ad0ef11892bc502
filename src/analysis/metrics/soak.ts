/**
 * soak: temperature rise and its time constant at constant power, and what drifts meanwhile. All of it is said of the power that
 * flowed, which is not quite the one that the stand read and held.
 */
import { between, channelOf, withRole, type PlayedSegment, type RunData, type Series } from '../run-data';
import { fitNonlinear } from '../stats/nonlinear';
import type { MetricName } from './catalogue';
import { channelEffects, meanOf, meanReading } from './common';
import { exact, metric, minus, noMetric, over, type Reading, type RunMetric } from './reading';

const NAMES = ['thermal_time_constant_s', 'final_temperature_degC', 'temperature_rise_K', 'settled_rise_K', 'soak_speed_drift'] as const satisfies readonly MetricName[];
/** Points that the exponential is fitted to. */
const POINTS = 200;
/**
 * The first part of the soak is not fitted: there the winding still warms ahead of the case, and the sensor lags behind it. An
 * exponential that comes late by a lag keeps its time constant.
 */
const FIT_FROM = 0.25;
/** The loop settles in this time, s; nothing before it counts for drift. */
const SETTLE_S = 3;

/** Metrics of a soak run. */
export function soakMetrics(data: RunData): RunMetric[] {
  const none = (reason: string): RunMetric[] => NAMES.map((n) => noMetric(n, reason));
  const soak = withRole(data, 'soak').at(-1);
  if (soak === undefined) return none('the run has no soak');
  if (soak.ended !== 'time') return none('the soak did not run to its end');
  const sensor = channelOf(data, 'motor_temperature');
  const drift = driftMetric(data, soak);
  if (sensor === null) return [...NAMES.filter((n) => n !== 'soak_speed_drift').map((n) => noMetric(n, 'the rig has no motor temperature channel')), drift];
  const part = between(sensor, soak.start_s, soak.end_s);
  if (part.value.length < 20) return [...NAMES.filter((n) => n !== 'soak_speed_drift').map((n) => noMetric(n, `${part.value.length} temperature samples; 20 or more are needed`)), drift];
  const where = sensor.placement === null ? 'where the sensor sits' : `at the ${sensor.placement}`;
  const length = soak.end_s - soak.start_s;
  const first = meanOf(startOf(sensor, soak.start_s));
  const last = meanOf(between(sensor, soak.end_s - length / 20, soak.end_s).value);
  const rise = last.mean - first.mean;
  const method = `case temperature ${where}, at the power that flowed; the winding is hotter`;
  return [
    ...fitted(between(sensor, soak.start_s + FIT_FROM * length, soak.end_s), soak, { start: first.mean, rise }, sensor.u_gain),
    metric('final_temperature_degC', { value: last.mean, within: last.se, effects: channelEffects(sensor, last.mean) }, method),
    // A common offset cancels in the rise.
    metric('temperature_rise_K', { value: rise, within: Math.hypot(first.se, last.se), effects: { motor_temperature_gain: rise * sensor.u_gain } }, method),
    drift,
  ];
}

/** Half of the time over which the temperature at the start is averaged, s. */
const AROUND_S = 0.6;

/**
 * Samples that show the temperature at the start: as many just before as just after, so that a motor which still cools does not
 * count as warmer; where the record has too few, the first second.
 */
function startOf(sensor: Series, start_s: number): Float64Array {
  const around = between(sensor, start_s - AROUND_S, start_s + AROUND_S).value;
  return around.length >= 6 ? around : between(sensor, start_s, start_s + 1).value;
}

function fitted({ t_s, value }: Series, soak: PlayedSegment, seen: { readonly start: number; readonly rise: number }, u_gain: number): RunMetric[] {
  const names = ['thermal_time_constant_s', 'settled_rise_K'] as const;
  const none = (reason: string): RunMetric[] => names.map((n) => noMetric(n, reason));
  const { start, rise } = seen;
  if (!(rise > 0)) return none(`the temperature rose by ${rise.toFixed(2)} K: nothing to fit`);
  const every = Math.max(1, Math.floor(t_s.length / POINTS));
  const x: number[] = [];
  const y: number[] = [];
  for (let i = 0; i + every <= t_s.length; i += every) {
    x.push(meanOf(t_s.subarray(i, i + every)).mean - soak.start_s);
    y.push(meanOf(value.subarray(i, i + every)).mean);
  }
  const length = soak.end_s - soak.start_s;
  // As end − left·exp(−t/τ): end and rise above the start need no extrapolation back to the start.
  const fit = fitNonlinear(x, y, ([end, left, tau]) => (t) => end - left * Math.exp(-t / tau), {
    start: [start + 1.5 * rise, rise, length / 2], lower: [start, 0.001 * rise, length / 1000], upper: [start + 100 * rise, 1e4 * rise, 20 * length],
  });
  if (!fit.ok) return none(`one exponential does not describe the rise: ${fit.reason}`);
  const [end, , tau] = fit.parameters;
  const u = fit.standardErrors ?? [0, 0, 0];
  const by = end - start;
  const flags = tau > length ? [`the soak of ${length.toFixed(0)} s is shorter than the time constant: an extrapolation`] : [];
  const method = `end − rest·exp(−t/τ) fitted to the case temperature from ${(FIT_FROM * length).toFixed(0)} s on, at the power that flowed`;
  return [
    metric('thermal_time_constant_s', { value: tau, within: u[2], effects: {} }, method, flags),
    metric('settled_rise_K', { value: by, within: u[0], effects: { motor_temperature_gain: by * u_gain } }, `${method}; its end less the temperature at the start`, flags),
  ];
}

function driftMetric(data: RunData, soak: PlayedSegment): RunMetric {
  const from_s = soak.start_s + SETTLE_S;
  const tenth = (soak.end_s - from_s) / 10;
  const first = meanReading(data, 'speed', { from_s, to_s: from_s + tenth });
  const last = meanReading(data, 'speed', { from_s: soak.end_s - tenth, to_s: soak.end_s });
  if (!first.ok) return noMetric('soak_speed_drift', first.reason);
  if (!last.ok) return noMetric('soak_speed_drift', last.reason);
  if (!(first.value.value > 0)) return noMetric('soak_speed_drift', 'the motor did not turn');
  // The same gain reads both, so it cancels. What steps of the channel hide at either end need not be the same, even where both show one value.
  return metric('soak_speed_drift', minus(over(stepsOf(last.value, 'last'), stepsOf(first.value, 'first')), exact(1)), 'mean speed of the last tenth over that of the first tenth, less one');
}

/** A reading whose error by the steps of its channel is one of its own, and the same in all repeats: these run at nearly the same speeds. */
const stepsOf = (reading: Reading, at: string): Reading =>
  ({ ...reading, effects: Object.fromEntries(Object.entries(reading.effects).map(([input, effect]) => [input.replace(/_resolution_.*/, `_resolution_${at}`), effect])) });
