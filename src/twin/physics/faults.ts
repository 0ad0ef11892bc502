/**
 * Faults that a test or a demonstration puts into the rig. They change the physics or a converter, never the controller:
 * whether anything notices is what the tests find out.
 */

/** Channel order of the rig; the index is also the bit in its masks. */
export const CHANNEL = { current: 0, voltage: 1, period: 2, thrust: 3, motorTemperature: 4, escTemperature: 5 } as const;
export const CHANNEL_COUNT = 6;
export type ChannelName = keyof typeof CHANNEL;

export type Fault =
  /** The rotor cannot turn (something in the propeller). */
  | { readonly kind: 'lock-rotor' }
  /** The propeller comes off: no thrust, no drag torque, less inertia. */
  | { readonly kind: 'lose-propeller' }
  /** The converter repeats its last value, still marked fresh. */
  | { readonly kind: 'freeze-channel'; readonly channel: ChannelName }
  /** The converter delivers nothing any more. */
  | { readonly kind: 'silence-channel'; readonly channel: ChannelName }
  /** The converter sits at one end of its range. */
  | { readonly kind: 'saturate-channel'; readonly channel: ChannelName; readonly at: 'low' | 'high' }
  /** The converter reports that its input is open (not valid). */
  | { readonly kind: 'open-channel'; readonly channel: ChannelName }
  /** Extra resistance in the supply lead. */
  | { readonly kind: 'supply-resistance'; readonly ohm: number }
  /** Battery and clamp come off the bus. */
  | { readonly kind: 'disconnect-sink' }
  /** Coulomb and viscous friction times `factor`. */
  | { readonly kind: 'scale-friction'; readonly factor: number }
  /** Commutation is lost for this long, s. */
  | { readonly kind: 'desync'; readonly duration_s: number }
  /** A node is suddenly this hot. */
  | { readonly kind: 'heat-node'; readonly node: 'winding' | 'case' | 'esc'; readonly temperature_degC: number };

export type FaultKind = Fault['kind'];

/** What a converter is doing. */
export const MODE = { normal: 0, frozen: 1, silent: 2, low: 3, high: 4, open: 5 } as const;

/** A fault that waits for its time. */
export interface ScheduledFault {
  readonly at_us: number;
  readonly fault: Fault;
}

/** Faults in order of time; `next_us` is cheap to compare every step. */
export class FaultSchedule {
  next_us = Infinity;
  private waiting: ScheduledFault[] = [];

  add(at_us: number, fault: Fault): void {
    this.waiting.push({ at_us, fault });
    this.waiting.sort((a, b) => a.at_us - b.at_us);
    this.next_us = this.waiting[0].at_us;
  }

  /** Takes every fault due at `now_us`. */
  take(now_us: number): Fault[] {
    const due = this.waiting.filter((entry) => entry.at_us <= now_us);
    this.waiting = this.waiting.filter((entry) => entry.at_us > now_us);
    this.next_us = this.waiting[0]?.at_us ?? Infinity;
    return due.map((entry) => entry.fault);
  }

  clear(): void {
    this.waiting = [];
    this.next_us = Infinity;
  }
}
