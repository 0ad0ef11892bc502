// The rig's channels declared to the controller core.
import type { CoreInstance } from '../../controller/wasm';
import type { Rig } from '../../model/files/rig';
import { isSimulated } from '../../model/simulated';
import { decimalGain, KIND_ON_WIRE } from '../../station/wire-tables';
import { RESET_SIMULATED } from '../../wire/messages';

/** A core at power-on with the channels of a rig, in its order. */
export function declareChannels(core: CoreInstance, rig: Rig, uid: number, resetCause: number): void {
  core.init(rig.tick_us, uid, isSimulated(rig) ? resetCause | RESET_SIMULATED : resetCause);
  rig.channels.forEach((channel, id) => {
    const [mantissa, exponent] = decimalGain(channel.gain);
    const taken = core.declareChannel(id, KIND_ON_WIRE[channel.kind], mantissa, exponent, channel.zero, channel.period_us);
    if (taken !== 1) throw new Error(`the controller core refused channel ${id} (${channel.kind}): gain ${channel.gain}, zero ${channel.zero}, period ${channel.period_us} µs`);
  });
}
