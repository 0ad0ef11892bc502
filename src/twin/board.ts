// The simulated board: controller core (wasm) and physics behind wire bytes. A station cannot tell it from a board on a port.
import type { CoreInstance } from '../controller/wasm';
import { instantiateCore } from '../controller/wasm';
import type { Rig } from '../model/files/rig';
import { decimalGain, KIND_ON_WIRE } from '../station/wire-tables';
import * as W from '../wire/messages';
import { CHANNEL_COUNT, MAX_STEP_US, type SimulatedRig } from './physics';

const POWER_ON = 1;
/** A row interval from here on means that the bench rests: whole physics steps may then be coarse. */
const RESTING_ROWS_US = 50_000;
/** A channel of the simulated rig that the rig file does not declare. */
const UNDECLARED = -1;

export class TwinBoard {
  private readonly core: CoreInstance;
  private readonly tick_us: number;
  /** Declared channel of each channel of the simulated rig. */
  private readonly idOf = new Int8Array(CHANNEL_COUNT).fill(UNDECLARED);
  /** Declared channels that carry an electrical period. */
  private readonly periods: readonly boolean[];
  private now = 0;
  private taken = 0;

  /**
   * @param rig the rig file: its channels are declared over the wire in its order
   * @param physical index of each declared channel in the simulated rig's rows
   */
  constructor(private readonly sim: SimulatedRig, rig: Rig, physical: readonly number[], uid: number, resetCause = POWER_ON) {
    this.core = instantiateCore();
    this.tick_us = rig.tick_us;
    physical.forEach((place, id) => { this.idOf[place] = id; });
    this.periods = rig.channels.map((channel) => channel.kind === 'speed');
    this.core.init(rig.tick_us, uid, resetCause | W.RESET_SIMULATED);
    rig.channels.forEach((channel, id) => {
      const [mantissa, exponent] = decimalGain(channel.gain);
      const taken = this.core.declareChannel(id, KIND_ON_WIRE[channel.kind], mantissa, exponent, channel.zero, channel.period_us);
      if (taken !== 1) throw new Error(`the controller core refused channel ${id} (${channel.kind}): gain ${channel.gain}, zero ${channel.zero}, period ${channel.period_us} µs`);
    });
  }

  /** Device time, microseconds, not wrapped. */
  get now_us(): number {
    return this.now;
  }

  /** Bytes from the station, as if they arrived now. */
  receive(bytes: Uint8Array): void {
    this.core.receive(bytes);
  }

  /** STATE_* of the wire. */
  get state(): number {
    return this.core.getState();
  }

  /** TRIP_* of the wire: why it is tripped. */
  get cause(): number {
    return this.core.getCause();
  }

  /** Raw throttle as it goes to the ESC, 0..10000. */
  get throttle(): number {
    return this.core.getThrottle();
  }

  /** The emergency-stop input of the board. */
  stopInput(pressed: boolean): void {
    this.core.stopInput(pressed ? 1 : 0);
  }

  /** Nothing turns, nothing is armed and rows are slow: time may go on in long ticks. */
  get resting(): boolean {
    return this.core.getState() === W.STATE_SAFE && this.core.getRowInterval() >= RESTING_ROWS_US && this.sim.truth.speed_rpm === 0;
  }

  /** Plays device time up to `until_us` (whole ticks; long ticks while the bench rests). What the board sends is left for {@link take}. */
  advanceTo(until_us: number): void {
    const { core, sim, idOf, periods, tick_us } = this;
    const { inputs } = core;
    const step_us = this.resting ? Math.max(tick_us, Math.floor(MAX_STEP_US / tick_us) * tick_us) : tick_us;
    while (this.now < until_us) {
      const throttle = core.tick(step_us);
      sim.step(throttle / W.THROTTLE_FULL, step_us);
      this.now += step_us;
      const { fresh, valid, counts } = sim;
      if (fresh === 0) continue;
      let came = 0;
      let possible = 0;
      for (let left = fresh; left !== 0; left &= left - 1) {
        const place = 31 - Math.clz32(left & -left);
        const id = idOf[place];
        if (id === UNDECLARED) continue;
        const count = counts[place];
        inputs[id] = count;
        came |= 1 << id;
        // "No commutation seen" is a fresh sample that is not valid: nobody may take it for a very slow rotor.
        if ((valid & (1 << place)) !== 0 && !(periods[id] && count >= W.PERIOD_NONE)) possible |= 1 << id;
      }
      core.takeInputs(came, possible);
    }
  }

  /** Bytes that the board has sent since the last call. The view is valid until the next call of any method but `receive`. */
  take(): Uint8Array {
    const { core } = this;
    core.drop(this.taken);
    this.taken = core.outLength();
    return core.view.subarray(0, this.taken);
  }
}
