/** True step times, by the definitions of the metrics, from true speed at every tick. */
import type { RunData } from '../../src/analysis/run-data';
import { stretches, type Stretch } from './segments';
import { meanOver, passes, tickAt, type Trace } from './trace';

/** Last part of a dwell that shows its level. */
const TAIL = 0.25;
const SETTLED = 0.05;
const MS = 1000;

const mean = (values: readonly number[]): number => values.reduce((a, b) => a + b, 0) / values.length;

/** The instant at which the throttle really changed, near where the record says that the segment began. */
function commandOf(trace: Trace, near_us: number): number {
  for (let i = Math.max(1, tickAt(trace, near_us) - 3); i < trace.begin_us.length; i++) if (trace.throttle[i] !== trace.throttle[i - 1]) return trace.begin_us[i];
  throw new Error(`the throttle does not change after ${near_us} µs`);
}

/** Everything of one direction. */
function direction(trace: Trace, steps: readonly Stretch[], rising: boolean): Record<string, number> {
  const speed = trace.speed_rpm;
  // A tick's speed is that at its end: the mean over the time between takes both ends, or a level that creeps is half a tick late.
  const level = (s: Stretch, end_us: number): number => {
    const from_us = end_us - TAIL * (s.to_us - s.from_us);
    return (meanOver(trace, speed, from_us, end_us) + meanOver(trace, speed, from_us - MS, end_us - MS)) / 2;
  };
  const initial = mean(steps.map((s) => level(s, s.from_us)));
  const final = mean(steps.map((s) => level(s, s.to_us)));
  const at = (share: number): number => initial + share * (final - initial);
  const commands = steps.map((s) => commandOf(trace, s.from_us));
  const times = (share: number): number[] => steps.map((s, k) => {
    const time = passes(trace, speed, at(share), rising, tickAt(trace, commands[k]), tickAt(trace, s.to_us));
    if (time === null) throw new Error(`a true step does not pass ${share}`);
    return (time - commands[k]) / 1e6;
  });
  const [t10, t20, t50, t80, t90] = [0.1, 0.2, 0.5, 0.8, 0.9].map(times);
  const between = (a: readonly number[], b: readonly number[]): number[] => a.map((v, i) => b[i] - v);
  const shape = meanShape(trace, steps, commands).map((v) => (v - initial) / (final - initial));
  let settled = shape.length - 1;
  while (settled > 0 && Math.abs(shape[settled - 1] - 1) <= SETTLED) settled--;
  const edge = shape[settled - 1] > 1 ? 1 + SETTLED : 1 - SETTLED;
  const name = (rise: string, fall: string): string => (rising ? rise : fall);
  return {
    [name('rise_time_10_90_s', 'fall_time_90_10_s')]: mean(between(t10, t90)),
    [name('rise_time_20_80_s', 'fall_time_80_20_s')]: mean(between(t20, t80)),
    [name('rise_t50_s', 'fall_t50_s')]: mean(t50), [name('rise_t80_s', 'fall_t80_s')]: mean(t80), [name('rise_dead_time_s', 'fall_dead_time_s')]: mean(t10),
    [name('rise_rate_per_s', 'fall_rate_per_s')]: mean(between(t20, t80).map((t) => 0.6 / t)),
    // Cell k of the mean shape is the end of tick k, (k + 1) ms after the command.
    [name('rise_settling_s', 'fall_settling_s')]: (settled + (edge - shape[settled - 1]) / (shape[settled] - shape[settled - 1])) * 1e-3,
    [name('rise_overshoot', 'fall_overshoot')]: Math.max(0, ...shape.slice(0, Math.floor((1 - TAIL) * shape.length)).map((v) => v - 1)),
  };
}

/** Mean of all steps at the ends of the ticks after the command. */
function meanShape(trace: Trace, steps: readonly Stretch[], commands: readonly number[]): number[] {
  const first = commands.map((c) => tickAt(trace, c));
  const shortest = Math.min(...steps.map((s, k) => Math.floor((s.to_us - commands[k]) / MS)));
  return Array.from({ length: shortest }, (_, i) => mean(first.map((f) => trace.speed_rpm[f + i])));
}

/** response. */
export function responseTruth(data: RunData, trace: Trace): Record<string, number> {
  const up = stretches(data, 'step-up');
  // The highest mean over two milliseconds: two ticks, of which the trace holds the means.
  const peaks = up.map((s) => { const a = tickAt(trace, s.from_us); const b = tickAt(trace, s.to_us); return Math.max(...trace.current_A.slice(a, b - 1).map((v, i) => (v + trace.current_A[a + i + 1]) / 2)); });
  return { ...direction(trace, up, true), ...direction(trace, stretches(data, 'step-down'), false), peak_current_A: mean(peaks) };
}
