/** What each fault does to the parts of a rig. */
import type { Drive } from './drive';
import { CHANNEL, MODE } from './faults';
import type { Fault } from './faults';
import type { Converter } from './sensors';
import type { Supply } from './supply';
import type { ThermalNodes } from './thermal';

/** The parts that faults act on. */
export interface FaultTarget {
  readonly drive: Drive;
  readonly supply: Supply;
  readonly heat: ThermalNodes;
  /** In channel order. */
  readonly converters: readonly Converter[];
}

/** Puts `fault` in at once. */
export function applyFault(target: FaultTarget, fault: Fault): void {
  const { drive, supply, heat, converters } = target;
  switch (fault.kind) {
    case 'lock-rotor': drive.rotorLocked = true; break;
    case 'lose-propeller': drive.setPropeller(false); break;
    case 'freeze-channel': converters[CHANNEL[fault.channel]].mode = MODE.frozen; break;
    case 'silence-channel': converters[CHANNEL[fault.channel]].mode = MODE.silent; break;
    case 'saturate-channel': converters[CHANNEL[fault.channel]].mode = fault.at === 'high' ? MODE.high : MODE.low; break;
    case 'open-channel': converters[CHANNEL[fault.channel]].mode = MODE.open; break;
    case 'supply-resistance': supply.setExtraLead(fault.ohm); break;
    case 'disconnect-sink': supply.setSink(false); break;
    case 'scale-friction': drive.frictionScale = fault.factor; break;
    case 'desync': drive.loseStep(fault.duration_s); break;
    case 'heat-node':
      if (fault.node === 'winding') heat.winding_degC = fault.temperature_degC;
      else if (fault.node === 'case') heat.case_degC = fault.temperature_degC;
      else heat.esc_degC = fault.temperature_degC;
      drive.setTemperatures(heat.winding_degC, heat.case_degC);
      break;
  }
}

/** Undoes every lasting fault; temperatures and a lost propeller stay as they are. */
export function repair(target: FaultTarget): void {
  target.drive.rotorLocked = false;
  target.drive.frictionScale = 1;
  target.supply.setExtraLead(0);
  target.supply.setSink(true);
  for (const converter of target.converters) converter.mode = MODE.normal;
}
