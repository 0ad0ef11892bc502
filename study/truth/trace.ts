/** True quantities of a simulated rig, tick by tick, while something plays on it. Only a grader looks here. */
import type { RunData } from '../../src/analysis/run-data';
import type { SimulatedRig } from '../../src/twin/physics';

/** Columns of equal length. A tick's values are those at its end, its current the mean over it. */
export type Trace = {
  /** Start and end of the tick, device time, µs. */
  readonly begin_us: number[];
  readonly end_us: number[];
  readonly throttle: number[];
  readonly speed_rpm: number[];
  readonly thrust_N: number[];
  readonly current_A: number[];
  /** Highest current of the physics' own steps inside the tick. */
  readonly peak_A: number[];
  readonly voltage_V: number[];
  readonly winding_degC: number[];
  readonly case_degC: number[];
  /** What the sluggish sensor on the case feels. */
  readonly sensor_degC: number[];
  /** Charge left in the battery beside the supply, 1 when full. */
  readonly charge: number[];
};

const empty = (): Trace => ({
  begin_us: [], end_us: [], throttle: [], speed_rpm: [], thrust_N: [], current_A: [], peak_A: [], voltage_V: [], winding_degC: [], case_degC: [], sensor_degC: [], charge: [],
});

/** Listens to a rig from now on. `take` hands over what was heard since the last call. */
export function traceOf(rig: SimulatedRig): { readonly take: () => Trace } {
  let trace = empty();
  let peak = -Infinity;
  const { drive, truth } = rig;
  const driveStep = drive.step.bind(drive);
  drive.step = () => {
    driveStep();
    if (drive.current_A > peak) peak = drive.current_A;
  };
  const rigStep = rig.step.bind(rig);
  rig.step = (throttle, dt_us) => {
    peak = -Infinity;
    trace.begin_us.push(rig.now_us);
    rigStep(throttle, dt_us);
    trace.end_us.push(rig.now_us);
    trace.throttle.push(throttle);
    trace.speed_rpm.push(truth.speed_rpm);
    trace.thrust_N.push(truth.thrust_N);
    trace.current_A.push(truth.current_A);
    trace.peak_A.push(Math.max(peak, truth.current_A));
    trace.voltage_V.push(truth.voltage_V);
    trace.winding_degC.push(truth.winding_degC);
    trace.case_degC.push(truth.case_degC);
    trace.sensor_degC.push(rig.heat.caseSensor_degC);
    trace.charge.push(rig.supply.charge);
  };
  return {
    take: () => {
      const out = trace;
      trace = empty();
      return out;
    },
  };
}

/** Index of the first tick that begins at or after a time. */
export function tickAt({ begin_us }: Trace, time_us: number): number {
  let low = 0;
  let high = begin_us.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (begin_us[middle] < time_us) low = middle + 1; else high = middle;
  }
  return low;
}

/** Mean of a column over the ticks that begin in [from, to). */
export function meanOver(trace: Trace, column: readonly number[], from_us: number, to_us: number): number {
  const a = tickAt(trace, from_us);
  const b = tickAt(trace, to_us);
  if (b <= a) throw new Error(`the trace has no ticks from ${from_us} to ${to_us} µs; it holds ${trace.begin_us[0]} to ${trace.begin_us.at(-1)} µs`);
  let sum = 0;
  for (let i = a; i < b; i++) sum += column[i];
  return sum / (b - a);
}

/** Time, µs, at which a column, seen at the ends of ticks from index `from` on, first passes a level; null when it does not before `to`. */
export function passes(trace: Trace, column: readonly number[], level: number, rising: boolean, from: number, to: number): number | null {
  for (let i = Math.max(1, from); i < to; i++) {
    const a = column[i - 1];
    const b = column[i];
    if (rising ? a < level && b >= level : a > level && b <= level) {
      return trace.end_us[i - 1] + ((level - a) / (b - a)) * (trace.end_us[i] - trace.end_us[i - 1]);
    }
  }
  return null;
}

/** Time, µs, that a column, on straight lines between the ends of ticks, is below a level in ticks [from, to). */
export function timeBelow(trace: Trace, column: readonly number[], level: number, from: number, to: number): number {
  let sum = 0;
  for (let i = Math.max(1, from); i < to; i++) {
    const [a, b] = [column[i - 1] - level, column[i] - level];
    const share = a < 0 === b < 0 ? (a < 0 ? 1 : 0) : Math.min(a, b) / (Math.min(a, b) - Math.max(a, b));
    sum += share * (trace.end_us[i] - trace.end_us[i - 1]);
  }
  return sum;
}

/** A station that has greeted the board anew counts device time from its last wrap at 2³² µs; the trace never wraps. */
export function inTimeOf(trace: Trace, data: RunData): RunData {
  const wraps = Math.round((trace.begin_us[0] - data.origin_us) / 2 ** 32);
  return { ...data, origin_us: data.origin_us + wraps * 2 ** 32 };
}
