/**
 * Layer 4: what is true of a rig, free of noise, at stated temperatures, found from the same maps that the simulation uses.
 * Grade an analysis against this (self-consistent), not against closed forms: those differ by the waveforms' share.
 */
import { BridgeLadder, BUS_CURRENT, MapCache, RIPPLE_LOSS, SUM_SQUARES, TORQUE } from './bridge-map';
import { copperFactor } from './parameters';
import type { EscParameters, EscSettings, MotorParameters, PropellerParameters, RigParameters } from './parameters';
import { bridgeOf, FULL_DUTY } from './waveform-cell';

export const RADPS_PER_RPM = Math.PI / 30;
const STANDARD_GRAVITY = 9.80665;

/** Friction and drag torque of the bare motor, N·m, at `speed_radps` > 0. */
export function frictionTorque_Nm(motor: MotorParameters, speed_radps: number): number {
  return speed_radps > 0 ? motor.coulombTorque_Nm + motor.viscousTorque_Nms * speed_radps : 0;
}

/** Thrust per ω² and torque per ω² of a propeller, from T = CT·ρ·n²·d⁴ and Q = CQ·ρ·n²·d⁵. */
export function propellerFactors(propeller: PropellerParameters, density_kgpm3: number): { thrust: number; torque: number } {
  const common = (density_kgpm3 * propeller.diameter_m ** 4) / (4 * Math.PI * Math.PI);
  return {
    thrust: propeller.groundFactor * propeller.thrustCoefficient * common,
    torque: propeller.torqueCoefficient * common * propeller.diameter_m,
  };
}

/** Duty for a throttle fraction: idle duty at just above zero, 1 at full, on the timer's grid. */
export function dutyOfThrottle(esc: EscParameters, settings: EscSettings, throttle: number): number {
  if (throttle <= 0) return 0;
  const counts = Math.round(esc.timerClock_Hz / settings.switchingFrequency_Hz);
  const duty = esc.minDuty + (1 - esc.minDuty) * Math.min(1, throttle);
  return Math.floor(duty * counts + 0.5) / counts;
}

/** A steady operating point. */
export interface OperatingPoint {
  readonly duty: number;
  readonly speed_radps: number;
  readonly speed_rpm: number;
  readonly current_A: number;
  readonly voltage_V: number;
  readonly thrust_N: number;
  readonly torque_Nm: number;
  readonly electrical_W: number;
  readonly propeller_W: number;
  /** Propeller power over electrical power. */
  readonly efficiency: number;
  readonly thrust_gfPerW: number;
  /** Time constant of a small speed change, s. */
  readonly timeConstant_s: number;
  readonly phaseCurrent_Arms: number;
}

export interface TruthOptions {
  readonly winding_degC?: number;
  readonly case_degC?: number;
  readonly propeller?: boolean;
  /** Factors of this mounting (default 1). */
  readonly thrustFactor?: number;
  readonly torqueFactor?: number;
}

/** Noise-free equilibria of one rig. */
export class Truth {
  private readonly ladder: BridgeLadder;
  private readonly magnet: number;
  private readonly copper: number;
  private readonly thrustPerSquare: number;
  private readonly torquePerSquare: number;
  private readonly inertia: number;

  constructor(private readonly rig: RigParameters, maps: MapCache = new MapCache(), options: TruthOptions = {}) {
    const { winding_degC = rig.ambient_degC, case_degC = rig.ambient_degC, propeller = true, thrustFactor = 1, torqueFactor = 1 } = options;
    this.ladder = new BridgeLadder(maps, bridgeOf(rig), rig.supply.volts);
    this.magnet = 1 + rig.motor.magnetCoefficient_perK * (case_degC - 20);
    this.copper = copperFactor(winding_degC);
    const factors = propellerFactors(rig.propeller, rig.airDensity_kgpm3);
    this.thrustPerSquare = propeller ? factors.thrust * thrustFactor : 0;
    this.torquePerSquare = propeller ? factors.torque * torqueFactor : 0;
    this.inertia = rig.motor.inertia_kgm2 + (propeller ? rig.propeller.inertia_kgm2 : 0);
  }

  private averages(volts: number, duty: number, speed: number): Float64Array {
    return this.ladder.at({ volts, perVolt: 1 / volts, duty, speed_radps: speed * this.magnet, resistance: this.copper });
  }

  private net_Nm(volts: number, duty: number, speed: number): number {
    const torque = this.averages(volts, duty, speed)[TORQUE] * this.magnet;
    return torque - frictionTorque_Nm(this.rig.motor, speed) - this.torquePerSquare * speed * speed;
  }

  /** Steady point at bus voltage `volts` and `duty` 0..1 (bisection on torque balance). */
  atDuty(volts: number, duty: number): OperatingPoint {
    const { esc, settings, motor } = this.rig;
    let low = 1;
    let high = (1.25 * volts) / motor.emf_Vs;
    for (let k = 0; k < 44; k++) {
      const middle = (low + high) / 2;
      if (this.net_Nm(volts, duty, middle) > 0) low = middle;
      else high = middle;
    }
    const speed = (low + high) / 2;
    const d = 0.03 * speed;
    const slope = (this.net_Nm(volts, duty, speed + d) - this.net_Nm(volts, duty, speed - d)) / (2 * d);
    const averages = this.averages(volts, duty, speed);
    const switching_W = duty < FULL_DUTY ? esc.switchingLoss_J * settings.switchingFrequency_Hz : 0;
    const current_A = averages[BUS_CURRENT] + (averages[RIPPLE_LOSS] + esc.idle_W + switching_W) / volts;
    const thrust_N = this.thrustPerSquare * speed * speed;
    const torque_Nm = this.torquePerSquare * speed * speed;
    const electrical_W = volts * current_A;
    return {
      duty, speed_radps: speed, speed_rpm: speed / RADPS_PER_RPM, current_A, voltage_V: volts, thrust_N, torque_Nm, electrical_W,
      propeller_W: torque_Nm * speed,
      efficiency: (torque_Nm * speed) / electrical_W,
      thrust_gfPerW: (thrust_N / STANDARD_GRAVITY) * 1000 / electrical_W,
      timeConstant_s: this.inertia / -slope,
      phaseCurrent_Arms: Math.sqrt(averages[SUM_SQUARES] / 3),
    };
  }

  /** Steady point at a throttle fraction 0..1. */
  atThrottle(volts: number, throttle: number): OperatingPoint {
    return this.atDuty(volts, dutyOfThrottle(this.rig.esc, this.rig.settings, throttle));
  }

  /** Steady point where `measure` of the point equals `target`; the measure must grow with duty. Switched duty only. */
  where(volts: number, measure: (point: OperatingPoint) => number, target: number): OperatingPoint {
    let low = 0.02;
    let high = 0.9979;
    for (let k = 0; k < 32; k++) {
      const middle = (low + high) / 2;
      if (measure(this.atDuty(volts, middle)) < target) low = middle;
      else high = middle;
    }
    return this.atDuty(volts, (low + high) / 2);
  }

  /** Steady point of a constant-current hold. */
  atCurrent(volts: number, current_A: number): OperatingPoint {
    return this.where(volts, (point) => point.current_A, current_A);
  }

  /** Steady point of a constant-power hold. */
  atPower(volts: number, power_W: number): OperatingPoint {
    return this.where(volts, (point) => point.electrical_W, power_W);
  }

  /** Steady point of a constant-speed hold. */
  atSpeed(volts: number, speed_rpm: number): OperatingPoint {
    return this.where(volts, (point) => point.speed_rpm, speed_rpm);
  }

  /** Apparent KV at full duty, rpm/V; use a Truth made with `propeller: false`. */
  kv_rpmPerV(volts: number): number {
    return this.atDuty(volts, 1).speed_rpm / volts;
  }
}
