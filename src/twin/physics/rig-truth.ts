/** What is true of a rig right now, free of sensor errors. For graders; never shown to a controller. */
import type { Drive } from './drive';
import type { Supply } from './supply';
import type { ThermalNodes } from './thermal';
import { RADPS_PER_RPM } from './truth';

export class RigTruth {
  /** At the ESC, mean over the last step. */
  current_A = 0;

  constructor(private readonly drive: Drive, private readonly supply: Supply, private readonly heat: ThermalNodes) {}

  /** At the ESC, end of the last step; so are the others. */
  get voltage_V(): number { return this.supply.bus_V; }
  get speed_rpm(): number { return this.drive.speed_radps / RADPS_PER_RPM; }
  /** Aerodynamic thrust, before the load cell. */
  get thrust_N(): number { return this.drive.thrust_N; }
  get duty(): number { return this.drive.duty; }
  get winding_degC(): number { return this.heat.winding_degC; }
  get case_degC(): number { return this.heat.case_degC; }
  get esc_degC(): number { return this.heat.esc_degC; }
  /** The ESC follows the rotor (turning, commutation not lost). */
  get inStep(): boolean { return this.drive.commutating; }
  /** Losses of commutation so far; how many of them while the rotor slowed down. */
  get desyncs(): number { return this.drive.desyncs; }
  get brakingDesyncs(): number { return this.drive.brakingDesyncs; }
  get failedStarts(): number { return this.drive.failedStarts; }
  /** Thrust and torque factors of the present mounting. */
  get thrustFactor(): number { return this.drive.thrustFactor; }
  get torqueFactor(): number { return this.drive.torqueFactor; }
}
