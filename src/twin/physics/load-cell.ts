/**
 * Load cell and its converter: a lightly damped second-order beam driven by thrust, by the propeller's unbalance once per
 * revolution and by torque crosstalk; then play hysteresis, creep, averaging over one conversion, and a random-walk zero.
 */
import type { LoadCellParameters } from './parameters';
import type { Rng } from './rng';

const SINE_STEPS = 4096;
const SINE = Float64Array.from({ length: SINE_STEPS + 1 }, (_, k) => Math.sin(((k + 0.5) * 2 * Math.PI) / SINE_STEPS));
const TURN = 2 * Math.PI;
const STEPS_PER_RADIAN = SINE_STEPS / TURN;

export class LoadCell {
  /** Deflection expressed as force, N, and its rate, N/s (scaled to force). */
  deflection_N = 0;
  rate_Nps = 0;
  private played_N = 0;
  private creep_N = 0;
  private zeroDrift_N = 0;
  private rotorAngle = 0;
  private sum_N = 0;
  private count = 0;
  private readonly stiffness: number;
  private readonly friction: number;
  private readonly angular: number;
  private readonly crosstalk: number;
  private readonly slack_N: number;

  constructor(private readonly parameters: LoadCellParameters, private readonly tick_s: number) {
    this.angular = TURN * parameters.natural_Hz;
    this.stiffness = this.angular * this.angular * tick_s;
    this.friction = 2 * parameters.damping * this.angular * tick_s;
    this.crosstalk = parameters.crosstalk_NperNm;
    this.slack_N = parameters.hysteresis_N;
  }

  /** Advances one tick under what the drive does now. */
  step(drive: { readonly thrust_N: number; readonly propellerTorque_Nm: number; readonly unbalance_kgm: number; readonly speed_radps: number }): void {
    const speed_radps = drive.speed_radps;
    let angle = this.rotorAngle + speed_radps * this.tick_s;
    if (angle >= TURN) angle -= TURN;
    this.rotorAngle = angle;
    const shake_N = drive.unbalance_kgm * speed_radps * speed_radps * SINE[(angle * STEPS_PER_RADIAN) | 0];
    const force_N = drive.thrust_N + shake_N + this.crosstalk * drive.propellerTorque_Nm;
    let x = this.deflection_N;
    const rate = this.rate_Nps + this.stiffness * (force_N - x) - this.friction * this.rate_Nps;
    x += this.tick_s * rate;
    this.rate_Nps = rate;
    this.deflection_N = x;
    const slack = this.slack_N;
    if (x - this.played_N > slack) this.played_N = x - slack;
    else if (this.played_N - x > slack) this.played_N = x + slack;
    this.sum_N += this.played_N;
    this.count++;
  }

  /** Mean force since the last call plus the zero's drift; `elapsed_s` sets how far the zero walks. */
  convert(elapsed_s: number, rng: Rng | null): number {
    if (rng !== null) this.zeroDrift_N += this.parameters.drift_NperRootHour * Math.sqrt(elapsed_s / 3600) * rng.normal();
    const mean_N = this.count > 0 ? this.sum_N / this.count : this.played_N;
    this.creep_N += ((this.parameters.creepFraction * mean_N - this.creep_N) * elapsed_s) / (this.parameters.creep_s + elapsed_s);
    this.sum_N = 0;
    this.count = 0;
    return mean_N + this.creep_N + this.zeroDrift_N;
  }

  /** True when nothing visible moves any more (within `resolution_N`). */
  atRest(resolution_N: number): boolean {
    return Math.abs(this.deflection_N) < resolution_N && Math.abs(this.rate_Nps) < resolution_N * this.angular;
  }

  /** Nothing moves any more and nothing loads the beam; creep relaxes with the conversions. */
  rest(): void {
    this.deflection_N = 0;
    this.rate_Nps = 0;
  }
}
