/** True values of holds, starts and soaks. */
import type { RunData } from '../../src/analysis/run-data';
import { stretch, stretches } from './segments';
import { steadyNear, type Conditions, type State } from './static';
import { meanOver, passes, tickAt, type Trace } from './trace';

const mean = (values: readonly number[]): number => values.reduce((a, b) => a + b, 0) / values.length;

/** efficiency-hold at constant current: the steady point that has exactly the target, at the temperatures of the window. */
export function holdTruth(data: RunData, trace: Trace, rig: Omit<Conditions, keyof State>): Record<string, number> {
  const { to_us, segment } = stretch(data, 'hold');
  if (segment.kind !== 'hold-current') throw new Error(`the study holds a current, not ${segment.kind}`);
  const from_us = to_us - 1e6 * (segment.tags?.use_last_s ?? 2);
  const over = (column: readonly number[]): number => meanOver(trace, column, from_us, to_us);
  const { at, of } = steadyNear({ ...rig, winding_degC: over(trace.winding_degC), case_degC: over(trace.case_degC), charge: over(trace.charge) }, 'current_A', segment.target_A);
  const power = of('power_W', at);
  return {
    hold_rpm: of('speed_rpm', at), hold_thrust_N: of('thrust_N', at), hold_power_W: power, hold_current_A: segment.target_A, hold_efficacy_N_per_W: of('thrust_N', at) / power,
    hold_throttle: at, hold_correction: segment.target_A / over(trace.current_A) - 1, hold_drift_per_s: slope(trace, trace.speed_rpm, from_us, to_us) / over(trace.speed_rpm),
  };
}

function slope(trace: Trace, column: readonly number[], from_us: number, to_us: number): number {
  const a = tickAt(trace, from_us);
  const b = tickAt(trace, to_us);
  const t = trace.end_us.slice(a, b).map((v) => v / 1e6);
  const y = column.slice(a, b);
  const [tm, ym] = [mean(t), mean(y)];
  return t.reduce((s, v, i) => s + (v - tm) * (y[i] - ym), 0) / t.reduce((s, v) => s + (v - tm) ** 2, 0);
}

/** spin-up: true speed against the stated one. The share of starts that succeed is 1 − the simulated ESC's chance of failing, as a second attempt comes too late. */
export function startTruth(data: RunData, trace: Trace, startFailure: number): Record<string, number> {
  const times = stretches(data, 'start').map(({ from_us, to_us, segment }) => {
    let first = Math.max(1, tickAt(trace, from_us) - 3);
    while (trace.throttle[first] === 0) first++;
    const time = passes(trace, trace.speed_rpm, segment.tags?.speed_rpm ?? NaN, true, first, tickAt(trace, to_us));
    if (time === null) throw new Error(`${data.record_id}: a start does not reach its speed`);
    return (time - trace.begin_us[first]) / 1e6;
  });
  return { start_success: 1 - startFailure, time_to_speed_s: mean(times) };
}

const SETTLE_US = 3e6;

/** The first part of the soak that the definition leaves out of the exponential. */
const FIT_FROM = 0.25;

/** soak. Temperatures are what the sensor on the case feels, free of noise and of gain and zero errors: that is what the metrics name. */
export function soakTruth(data: RunData, trace: Trace): Record<string, number> {
  const { from_us, to_us } = stretch(data, 'soak');
  const length = to_us - from_us;
  const start = meanOver(trace, trace.sensor_degC, from_us - 10_000, from_us + 10_000);
  const end = meanOver(trace, trace.sensor_degC, to_us - length / 20, to_us);
  const settled_us = from_us + SETTLE_US;
  const tenth = (to_us - settled_us) / 10;
  const { settled, tau_s } = exponential(trace, from_us + FIT_FROM * length, to_us);
  return {
    thermal_time_constant_s: tau_s, settled_rise_K: settled - start, final_temperature_degC: end, temperature_rise_K: end - start,
    soak_speed_drift: meanOver(trace, trace.speed_rpm, to_us - tenth, to_us) / meanOver(trace, trace.speed_rpm, settled_us, settled_us + tenth) - 1,
  };
}

/** Least squares of a + rise·(1 − exp(−t/τ)), by a search over τ with the rest solved exactly. `settled` is a + rise. */
function exponential(trace: Trace, from_us: number, to_us: number): { readonly settled: number; readonly tau_s: number } {
  const a = tickAt(trace, from_us);
  const b = tickAt(trace, to_us);
  const t: number[] = [];
  const y: number[] = [];
  for (let i = a; i < b; i += 50) { t.push((trace.end_us[i] - from_us) / 1e6); y.push(trace.sensor_degC[i]); }
  const fit = (tau: number): { settled: number; rss: number } => {
    const x = t.map((v) => 1 - Math.exp(-v / tau));
    const [xm, ym] = [mean(x), mean(y)];
    const rise = x.reduce((s, v, i) => s + (v - xm) * (y[i] - ym), 0) / x.reduce((s, v) => s + (v - xm) ** 2, 0);
    return { settled: ym + rise * (1 - xm), rss: x.reduce((s, v, i) => s + (y[i] - ym - rise * (v - xm)) ** 2, 0) };
  };
  let [low, high] = [Math.log(1), Math.log(2000)];
  for (let k = 0; k < 100; k++) {
    const [p, q] = [low + 0.382 * (high - low), low + 0.618 * (high - low)];
    if (fit(Math.exp(p)).rss < fit(Math.exp(q)).rss) high = q; else low = p;
  }
  const tau_s = Math.exp((low + high) / 2);
  return { settled: fit(tau_s).settled, tau_s };
}
