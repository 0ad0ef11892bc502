// Goal: shared ways to drive the simulated rig in tests. Method: noise-free or seeded rigs, virtual time only.
import { MapCache, SimulatedRig } from '../../src/twin/physics';
import type { RigOptions, RigParameters } from '../../src/twin/physics';

/** One cache for a whole test file: no operating point is solved twice. */
export const maps = new MapCache();

export function rigOf(parameters: RigParameters, options: Partial<RigOptions> = {}): SimulatedRig {
  return new SimulatedRig(parameters, { seed: 1, maps, ...options });
}

/** Runs `seconds` at one throttle and calls `each` after every step. */
export function run(rig: SimulatedRig, throttle: number, seconds: number, dt_us = 1000, each: (rig: SimulatedRig) => void = () => undefined): void {
  const steps = Math.round((seconds * 1e6) / dt_us);
  for (let k = 0; k < steps; k++) {
    rig.step(throttle, dt_us);
    each(rig);
  }
}

/** Time in seconds to cover each share of a throttle step's speed change, noise-free, at 125 µs. */
export function stepTimes(parameters: RigParameters, from: number, to: number, shares: readonly number[]): number[] {
  const rig = rigOf(parameters, { noise: false });
  run(rig, from, 1);
  const before = rig.truth.speed_rpm;
  const speeds: number[] = [];
  run(rig, to, 0.8, 125, () => speeds.push(rig.truth.speed_rpm));
  const after = speeds[speeds.length - 1];
  return shares.map((share) => speeds.findIndex((speed) => (speed - before) / (after - before) >= share) * 125e-6);
}

/** SI value of a channel's newest counts, as a rig file would convert it. */
export function si(rig: SimulatedRig, channel: number): number {
  const { scale, offset_counts } = rig.channels[channel];
  return (rig.counts[channel] - offset_counts) * scale;
}

export function mean(values: readonly number[]): number {
  return values.reduce((sum, value) => sum + value, 0) / values.length;
}

export function spread(values: readonly number[]): number {
  const centre = mean(values);
  return Math.sqrt(values.reduce((sum, value) => sum + (value - centre) ** 2, 0) / (values.length - 1));
}
