// What a rig on a Firmata board can do. One place: checks, plans and pages read it from here.
import type { RigChannel } from './files/rig-channels';
import type { Rig } from './files/rig';

/** StandardFirmata takes samples every 10 ms at best (firmata-io and the firmware both hold it there). */
export const FIRMATA_TICK = { least_us: 10_000, most_us: 20_000 } as const;
/** Time between two servo pulses (common practice, no published source). */
export const PULSE_FRAME_S = 0.02;
/** The firmware takes shorter values for degrees, not microseconds. */
export const SHORTEST_PULSE_US = 544;
/** Share of the serial line that reports may fill. When it is full the firmware waits for it, and hears a stop late. */
const LINE_SHARE = 0.8;
const BITS_PER_BYTE = 10;

export interface FirmataAbilities {
  /** Reports of the board, and so samples of any channel, a second at most. */
  readonly reports_Hz: number;
  readonly pulse_frame_s: number;
  /** Bytes in one round of reports, and how many the line can carry meanwhile. */
  readonly round_bytes: number;
  readonly line_bytes: number;
  readonly hasSpeed: boolean;
  /** May run with nobody there. */
  readonly unattended: boolean;
  /** For a person who plans a run. */
  readonly cautions: readonly string[];
}

/** Null for a rig on another link. */
export function firmataAbilities(rig: Rig): FirmataAbilities | null {
  if (rig.link.kind !== 'firmata') return null;
  const reports_Hz = 1e6 / Math.max(rig.tick_us, FIRMATA_TICK.least_us);
  const unattended = rig.cut_off.kind !== 'none';
  return {
    reports_Hz, pulse_frame_s: PULSE_FRAME_S,
    round_bytes: rig.channels.reduce((sum, channel) => sum + reportBytes(channel), 0),
    line_bytes: Math.floor((rig.link.baud / BITS_PER_BYTE) * (rig.tick_us / 1e6) * LINE_SHARE),
    hasSpeed: rig.channels.some((c) => c.kind === 'speed'), unattended,
    cautions: [
      'Firmata board: controller and judge share this computer and count as one stopping layer.',
      'Firmata board: no watchdog. When this computer or the cable fails, the last pulse stays and the motor goes on: keep the mushroom switch in reach.',
      ...(unattended ? [] : ['Firmata board without a cut_off in the rig file: one attended run at a time.']),
    ],
  };
}

/** Bytes of one report of a channel (Firmata 2.5: analogue message 3 bytes; I2C reply 7 and two for each byte read). */
function reportBytes({ source, kind }: RigChannel): number {
  switch (source.kind) {
    case 'power-monitor': return 7 + 2 * 2;
    case 'converter': return 7 + 2 * (source.part === 'nau7802' ? 3 : 2);
    case 'analog':
    case 'thermistor':
    case 'analog-tachometer': return 3;
    case 'board':
    case 'esc-telemetry':
    case 'tachometer': return kind === 'speed' ? 3 : 0;
  }
}
