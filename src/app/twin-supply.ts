// The simulated instrument beside the simulated rig: what it sets is the rig's supply, what its meters see is the rig's.
import type { SimulatedRig } from '../twin/physics';
import { Instrument, type InstrumentOptions, type Plant } from '../twin/instrument/instrument';

/** The simulated rig takes no lower voltage; it is off then all the same. */
const LEAST_V = 0.5;
const LEAST_A = 1e-3;

/** An instrument whose output is the supply of the simulated rig. Its output is off to begin with. */
export function twinInstrument(sim: SimulatedRig, options: InstrumentOptions = {}): Instrument {
  let limit_A = Infinity;
  let on = false;
  sim.setOutput(false);
  const plant: Plant = {
    set: (state) => {
      limit_A = Math.max(LEAST_A, state.current_limit_A);
      on = state.output;
      sim.setSupply(Math.max(LEAST_V, state.voltage_V), limit_A);
      sim.setOutput(on);
    },
    read: () => {
      const { terminal_V, volts } = sim.supply;
      if (!on) return { voltage_V: terminal_V, current_A: 0, limiting: false };
      const current_A = Math.min(limit_A, Math.max(0, (volts - terminal_V) / sim.parameters.supply.source_ohm));
      return { voltage_V: terminal_V, current_A, limiting: current_A >= limit_A };
    },
  };
  return new Instrument(plant, options);
}
