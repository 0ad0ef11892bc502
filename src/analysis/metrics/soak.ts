/** soak: temperature rise and its time constant at constant power, and what drifts meanwhile. */
import { between, channelOf, withRole, type PlayedSegment, type RunData } from '../run-data';
import { fitNonlinear } from '../stats/nonlinear';
import type { MetricName } from './catalogue';
import { channelEffects, meanOf, meanReading } from './common';
import { exact, metric, noMetric, type RunMetric } from './reading';

const NAMES = ['thermal_time_constant_s', 'final_temperature_degC', 'temperature_rise_K', 'settled_rise_K', 'soak_speed_drift'] as const satisfies readonly MetricName[];
/** Points that the exponential is fitted to. */
const POINTS = 200;
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
  const first = meanOf(between(sensor, soak.start_s, soak.start_s + Math.max(1, 0.01 * length)).value);
  const last = meanOf(between(sensor, soak.end_s - length / 20, soak.end_s).value);
  const rise = last.mean - first.mean;
  const method = `case temperature ${where}; the winding is hotter`;
  return [
    ...fitted(part.t_s, part.value, soak, rise, sensor.u_gain),
    metric('final_temperature_degC', { value: last.mean, within: last.se, effects: channelEffects(sensor, last.mean) }, method),
    // A common offset cancels in the rise.
    metric('temperature_rise_K', { value: rise, within: Math.hypot(first.se, last.se), effects: { motor_temperature_gain: rise * sensor.u_gain } }, method),
    drift,
  ];
}

function fitted(t_s: Float64Array, value: Float64Array, soak: PlayedSegment, rise: number, u_gain: number): RunMetric[] {
  const names = ['thermal_time_constant_s', 'settled_rise_K'] as const;
  const none = (reason: string): RunMetric[] => names.map((n) => noMetric(n, reason));
  if (!(rise > 0)) return none(`the temperature rose by ${rise.toFixed(2)} K: nothing to fit`);
  const every = Math.max(1, Math.floor(t_s.length / POINTS));
  const x: number[] = [];
  const y: number[] = [];
  for (let i = 0; i + every <= t_s.length; i += every) {
    x.push(meanOf(t_s.subarray(i, i + every)).mean - soak.start_s);
    y.push(meanOf(value.subarray(i, i + every)).mean);
  }
  const length = soak.end_s - soak.start_s;
  const fit = fitNonlinear(x, y, ([start, by, tau]) => (t) => start + by * (1 - Math.exp(-t / tau)), {
    start: [y[0], rise, length / 3], lower: [y[0] - 50, 0.01 * rise, length / 1000], upper: [y[0] + 50, 100 * rise, 20 * length],
  });
  if (!fit.ok) return none(`one exponential does not describe the rise: ${fit.reason}`);
  const [, by, tau] = fit.parameters;
  const u = fit.standardErrors ?? [0, 0, 0];
  const flags = tau > length ? [`the soak of ${length.toFixed(0)} s is shorter than the time constant: an extrapolation`] : [];
  const method = 'start + rise·(1 − exp(−t/τ)) fitted to the case temperature';
  return [
    metric('thermal_time_constant_s', { value: tau, within: u[2], effects: {} }, method, flags),
    metric('settled_rise_K', { value: by, within: u[1], effects: { motor_temperature_gain: by * u_gain } }, method, flags),
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
  // The same gain reads both, so it cancels.
  const value = last.value.value / first.value.value - 1;
  return metric('soak_speed_drift', { ...exact(value), within: Math.hypot(first.value.within, last.value.within) / first.value.value }, 'mean speed of the last tenth over that of the first tenth, less one');
}
