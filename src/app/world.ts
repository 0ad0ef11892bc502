// A bench in its world: what the use cases need besides the sequencer's ports. The twin is one; a guard process will be another.
import type { Observable } from 'rxjs';
import type { LinkHealth } from '../model/events';
import type { SampleBlock } from '../model/sample';
import type { Bench, Clock } from '../sequencer/ports';
import type { SupplyReading } from './supply-port';

/** Latest readings while nothing runs, SI; null for a channel that has not spoken. */
export interface Readings {
  readonly motor_degC: number | null;
  readonly esc_degC: number | null;
  readonly speed_rpm: number | null;
  readonly current_A: number | null;
  readonly voltage_V: number | null;
}

export interface World {
  readonly bench: Bench;
  readonly clock: Clock;
  readonly blocks: Observable<SampleBlock>;
  /** Longest device time that a record may keep back, µs; left out: the record's own 100 ms. Longer only where device time passes in no time. */
  readonly recordFlush_us?: number;
  /** Opens the session with the board. Resolves when it is ready; throws `BadInput` with the reason when it is not ours. */
  connect(): Promise<void>;
  /** Lets the bench go on until `done` or until so much bench time has passed. Resolves true when `done`. */
  playUntil(done: () => boolean, within_s?: number): Promise<boolean>;
  readings(): Readings;
  /** A run begins: faults that the rig file asks of the simulated rig start to count. */
  beginRun(): void;
  endRun(): void;
  /** Sets the supply's voltage; with the output off it stays off, and comes on at this voltage. */
  setSupply(volts: number): Promise<void>;
  /**
   * Takes the supply's output off the bench, so that hands may go in, and at the end. Safe at any time, however often.
   * Resolves to true once it is off, false where no program switches it: a person has to.
   * @throws Error when the supply does not obey: nobody may come near then
   */
  outputOff(): Promise<boolean>;
  /** Output on again, at the voltage set last, settled. False where no program switches it. `connect` leaves it on. */
  outputOn(): Promise<boolean>;
  /** What the supply's own meters say, where a program can ask it. */
  supplyReading?(): Promise<SupplyReading>;
  setPropeller(on: boolean): Promise<void>;
  setParameter(name: string, value: number): void;
  /** A person or a program says that it has changed something. A simulated rig that has such a setting follows; a real one has it already. */
  follow(name: string, value: number | null): void;
  /**
   * The article is taken off and put on again, for mounting number `mounting` (the first is 1). What a mounting changes on the
   * simulated rig follows from its number, so a campaign taken up again finds it as it was; on a real bench a person has done it.
   */
  remount(mounting: number): Promise<void>;
  /** For the proof test: from now on (or no more) nothing reaches the board. True where that can be done. A new connection speaks again. */
  mute(on: boolean): boolean;
  /** For the proof test: presses (or lets go of) the board's stop input. False where a person has to. */
  pressStop(pressed: boolean): boolean;
  /** For the resonance of the stand: taps it beside the load cell. False, or left out, where a person has to. */
  tapStand?(): boolean;
  /** A trip that the board held when it was greeted, in words; null or left out when there is none. */
  oldTrip?(): string | null;
  /** A deliberate act after a trip. Resolves to the reasons why the latch stays; empty when it is clear. */
  clearTrip(why: string): Promise<readonly string[]>;
  /** Frames so far, for a live line; left out where there is no line to speak of. */
  health?(): LinkHealth | null;
  close(): void;
  /** As `close`; resolves when the port is free for the next world. Left out where nothing has to be waited for. */
  closed?(): Promise<void>;
}
