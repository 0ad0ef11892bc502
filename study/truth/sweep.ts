/** True values over throttle: steady points at hover, lag and what it leaves. */
import type { RunData } from '../../src/analysis/run-data';
import { stretch } from './segments';
import { steadyNear, type Conditions, type State } from './static';
import { meanOver, tickAt, timeBelow, type Trace } from './trace';

/** The duty moves in steps, and speed with it: fewer levels fall on them as they like (0.01 ms of lag with 121). */
const LEVELS = 1200;
const PLATEAU_US = [0.4e6, 0.9e6] as const;

/** Temperatures and charge while the sweep passes a throttle, mean of both ramps. */
function stateAt(data: RunData, trace: Trace, throttle: number): State {
  const at = (role: string): number => {
    const { from_us, to_us } = stretch(data, role);
    const a = tickAt(trace, from_us);
    const b = tickAt(trace, to_us);
    for (let i = a + 1; i < b; i++) if ((trace.throttle[i - 1] - throttle) * (trace.throttle[i] - throttle) <= 0) return trace.begin_us[i];
    throw new Error(`${data.record_id}: the ${role} does not pass ${throttle}`);
  };
  const times = [at('ramp-up'), at('ramp-down')];
  const mean = (column: readonly number[]): number => times.reduce((s, t) => s + meanOver(trace, column, t - 50_000, t + 50_000), 0) / times.length;
  return { winding_degC: mean(trace.winding_degC), case_degC: mean(trace.case_degC), charge: mean(trace.charge) };
}

/** Steady values where thrust is that of hover. `power_exponent`: by which power of speed electrical power goes there. */
export function hoverTruth(data: RunData, trace: Trace, rig: Omit<Conditions, keyof State>, hover_N: number): Record<string, number> {
  const rough = steadyNear({ ...rig, winding_degC: rig.parameters.ambient_degC, case_degC: rig.parameters.ambient_degC, charge: 1 }, 'thrust_N', hover_N);
  const { at, of } = steadyNear({ ...rig, ...stateAt(data, trace, rough.at) }, 'thrust_N', hover_N);
  const power = of('power_W', at);
  const speed = of('speed_rpm', at);
  const d = 0.01;
  return {
    power_at_hover_W: power, throttle_at_hover: at, speed_at_hover_rpm: speed, efficacy_at_hover_N_per_W: hover_N / power,
    power_exponent: Math.log(of('power_W', at + d) / of('power_W', at - d)) / Math.log(of('speed_rpm', at + d) / of('speed_rpm', at - d)),
  };
}

type Ramp = { readonly from: number; readonly to: number; readonly throttleAt: (time_us: number) => number };

/** Mean of a column in the settled half of the low level and in the used part of the plateau. */
function levels(data: RunData, trace: Trace, column: readonly number[]): { readonly low: number; readonly high: number } {
  const [before, top] = [stretch(data, 'low'), stretch(data, 'plateau')];
  return {
    low: meanOver(trace, column, (before.from_us + before.to_us) / 2, before.to_us),
    high: meanOver(trace, column, top.from_us + PLATEAU_US[0], top.from_us + PLATEAU_US[1]),
  };
}

/** Lag on the ramps, and how the difference of thrust that it leaves changes over throttle. */
export function lagTruth(data: RunData, trace: Trace): Record<string, number> {
  const ramp = (role: string): Ramp => {
    const { from_us, to_us } = stretch(data, role);
    const from = tickAt(trace, from_us);
    const to = tickAt(trace, to_us);
    // The ramp as it was commanded is a straight line; the board plays it in steps of a tick.
    const [low, high] = [trace.throttle[from - 1], trace.throttle[to]];
    return { from, to, throttleAt: (time) => low + ((high - low) * (time - from_us)) / (to_us - from_us) };
  };
  const up = ramp('ramp-up');
  const down = ramp('ramp-down');
  const rate = (trace.throttle[up.to - 1] - trace.throttle[up.from]) / ((trace.begin_us[up.to - 1] - trace.begin_us[up.from]) / 1e6);
  const lagOf = (column: readonly number[]): number => {
    const { low, high } = levels(data, trace, column);
    const half: number[] = [];
    const length = (r: Ramp): number => trace.end_us[r.to - 1] - trace.end_us[r.from - 1];
    for (let k = 0; k < LEVELS; k++) {
      const level = low + (high - low) * (0.2 + (0.6 * (k + 0.5)) / LEVELS);
      // Where a signal dips on its way, all the time below a level counts, and not the first passage alone.
      const a = trace.end_us[up.from - 1] + timeBelow(trace, column, level, up.from, up.to);
      const b = trace.end_us[down.from - 1] + length(down) - timeBelow(trace, column, level, down.from, down.to);
      half.push((up.throttleAt(a) - down.throttleAt(b)) / 2 / rate);
    }
    return half.reduce((s, v) => s + v, 0) / half.length;
  };
  const shift = lagOf(trace.thrust_N) * rate;
  const thrustAt = (r: Ramp, throttle: number): number => {
    for (let i = r.from + 1; i < r.to; i++) {
      const [a, b] = [r.throttleAt(trace.end_us[i - 1]), r.throttleAt(trace.end_us[i])];
      if ((a - throttle) * (b - throttle) <= 0) return trace.thrust_N[i - 1] + ((throttle - a) / (b - a)) * (trace.thrust_N[i] - trace.thrust_N[i - 1]);
    }
    throw new Error(`${data.record_id}: a ramp does not pass ${throttle}`);
  };
  const [from, to] = [trace.throttle[up.from - 1], trace.throttle[up.to]];
  const share: number[] = [];
  const left: number[] = [];
  for (let k = 0; k < LEVELS; k++) {
    const x = from + (to - from) * (0.1 + (0.8 * (k + 0.5)) / LEVELS);
    share.push((k + 0.5) / LEVELS - 0.5);
    left.push(thrustAt(down, x - shift) - thrustAt(up, x + shift));
  }
  const slope = share.reduce((s, z, i) => s + z * left[i], 0) / share.reduce((s, z) => s + z * z, 0);
  // Thrust is CT·ρ·n²·d⁴ in the simulated rig, so its exponent is 2 by construction.
  return { ramp_lag_s: lagOf(trace.speed_rpm), curve_hysteresis: slope / levels(data, trace, trace.thrust_N).high, thrust_exponent: 2 };
}
