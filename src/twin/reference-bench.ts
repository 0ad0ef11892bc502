// SIMULATED calibration: masses on the simulated load cell, known currents, voltages, temperatures and speeds at the simulated
// converters, with the gain and zero errors that the same seed gives the rig in a run. The reference has an error of its own.
import type { ChannelKind } from '../model/channel';
import type { Article, Rig } from '../model/files';
import { physicalChannels, twinParameters } from './configure';
import { CHANNEL, SimulatedRig, TICK_US } from './physics';
import { Rng } from './physics/rng';
import { NO_COMMUTATION, periodCounts } from './physics/sensors';

/** Mean of some readings, in counts. */
export interface CountsReading {
  readonly mean: number;
  /** Standard deviation of one reading; 0 for one reading. */
  readonly sd: number;
  readonly n: number;
}

const TICK_S = TICK_US * 1e-6;
/** Stream of the reference's own error, away from those of the rig. */
const REFERENCE_STREAM = 4711;
const LEAD_STREAM = 4712;

export class ReferenceBench {
  private readonly sim: SimulatedRig;
  private readonly referenceError: number;
  private readonly noise: Rng;
  private applied = 0;

  /**
   * @param u_reference relative standard uncertainty of the reference; its error is drawn from it, once
   * @throws TwinProblem when the rig file asks for what the simulated rig does not have
   */
  constructor(private readonly rig: Rig, article: Article, u_reference: number) {
    const link = rig.link.kind === 'twin' ? rig.link : null;
    const seed = link?.seed ?? 1;
    this.sim = new SimulatedRig(twinParameters(rig, article), { seed, noise: link?.noise !== 'none' });
    this.noise = new Rng(seed, REFERENCE_STREAM);
    this.referenceError = u_reference * this.noise.normal();
  }

  /** Applies about `target` (SI, in the column's unit). Returns what the reference says; the truth differs by the reference's error. */
  apply(target: number): number {
    this.applied = target * (1 + this.referenceError);
    return target;
  }

  /** Reads a channel for some time under what is applied. */
  read(kind: Exclude<ChannelKind, 'torque'>, for_s: number): CountsReading {
    const index = physicalChannels(this.rig)[this.rig.channels.findIndex((c) => c.kind === kind)];
    const converter = this.sim.converters[index];
    const period_s = converter.periodTicks * TICK_S;
    const readings: number[] = [];
    for (let k = 0; k < Math.max(1, Math.round(for_s / period_s)); k++) {
      if (kind === 'thrust') converter.read(this.force(converter.periodTicks));
      else if (kind === 'speed') this.readSpeed();
      else converter.read(this.applied);
      readings.push(this.sim.counts[index]);
    }
    return summary(readings);
  }

  /** The voltage drop over the leads at a current, as a meter with the reference's error shows it, V. */
  leadDrop(current_A: number): number {
    const jitter = new Rng(Math.round(current_A * 1000) + 1, LEAD_STREAM).normal();
    return this.sim.parameters.supply.lead_ohm * current_A * (1 - this.referenceError) * (1 + 5e-4 * jitter);
  }

  /** The beam under the mass for one conversion: it swings, sticks, creeps and drifts as in a run. */
  private force(ticks: number): number {
    const load = { thrust_N: this.applied, propellerTorque_Nm: 0, unbalance_kgm: 0, speed_radps: 0 };
    for (let k = 0; k < ticks; k++) this.sim.loadCell.step(load);
    return this.sim.loadCell.convert(ticks * TICK_S, this.noise);
  }

  private readSpeed(): void {
    const { motor, sensors } = this.sim.parameters;
    const period = this.sim.converters[CHANNEL.period];
    const electrical = ((this.applied * 2 * Math.PI) / 60) * motor.polePairs;
    period.publish(electrical > 0 ? periodCounts(electrical, sensors.period.step, 1 + period.gainError, sensors.periodBits, this.noise.uniform() - 0.5) : NO_COMMUTATION);
  }
}

function summary(readings: readonly number[]): CountsReading {
  const n = readings.length;
  const mean = readings.reduce((a, b) => a + b, 0) / n;
  const sd = n < 2 ? 0 : Math.sqrt(readings.reduce((s, r) => s + (r - mean) ** 2, 0) / (n - 1));
  return { mean, sd, n };
}
