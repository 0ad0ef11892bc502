/**
 * Heat: winding → case → air, and the ESC as one node. The motor's sensor sits on the case (no sensor fits into a small
 * winding), behind a first-order lag; so does the ESC's on its board. Explicit steps of 2 ms while turning, of one controller
 * tick (at most 20 ms) at rest: the shortest time constant is about one second.
 */
import type { MotorParameters, RigParameters } from './parameters';

function lag_s(cutoff_Hz: number | null): number {
  return cutoff_Hz === null ? 0 : 1 / (2 * Math.PI * cutoff_Hz);
}

export class ThermalNodes {
  winding_degC = NaN;
  case_degC = NaN;
  esc_degC = NaN;
  /** What the sensors feel. */
  caseSensor_degC = NaN;
  escSensor_degC = NaN;
  private readonly motor: MotorParameters;
  private readonly ambient_degC: number;
  private readonly escHeat_JpK: number;
  private readonly escToAir_WpK: number;
  private readonly caseLag_s: number;
  private readonly escLag_s: number;

  constructor(rig: RigParameters) {
    this.motor = rig.motor;
    this.ambient_degC = rig.ambient_degC;
    this.escHeat_JpK = rig.esc.heat_JpK;
    this.escToAir_WpK = rig.esc.toAir_WpK;
    this.caseLag_s = lag_s(rig.sensors.motorTemperature.filter_Hz);
    this.escLag_s = lag_s(rig.sensors.escTemperature.filter_Hz);
    this.setAll(rig.ambient_degC);
  }

  /** Puts every node and sensor at one temperature. */
  setAll(temperature_degC: number): void {
    this.winding_degC = temperature_degC;
    this.case_degC = temperature_degC;
    this.esc_degC = temperature_degC;
    this.caseSensor_degC = temperature_degC;
    this.escSensor_degC = temperature_degC;
  }

  /** Advances by `dt_s` with mean losses in watts at the winding, in the case (iron, friction) and in the ESC. */
  step(dt_s: number, winding_W: number, case_W: number, esc_W: number, speed_radps: number): void {
    const motor = this.motor;
    const inner_W = motor.windingToCase_WpK * (this.winding_degC - this.case_degC);
    const outer_W = (motor.caseToAir_WpK + motor.caseToAirBySpeed_Ws * speed_radps) * (this.case_degC - this.ambient_degC);
    this.winding_degC += (dt_s * (winding_W - inner_W)) / motor.windingHeat_JpK;
    this.case_degC += (dt_s * (inner_W + case_W - outer_W)) / motor.caseHeat_JpK;
    this.esc_degC += (dt_s * (esc_W - this.escToAir_WpK * (this.esc_degC - this.ambient_degC))) / this.escHeat_JpK;
    this.caseSensor_degC += ((this.case_degC - this.caseSensor_degC) * dt_s) / (this.caseLag_s + dt_s);
    this.escSensor_degC += ((this.esc_degC - this.escSensor_degC) * dt_s) / (this.escLag_s + dt_s);
  }
}
