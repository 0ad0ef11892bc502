// What the measuring parts that a rig file can name are worth: size of a step, range, what the chip can be set to. From the data
// sheets of the parts; used by the checks of a rig file and by the drivers.
import type { RigChannel } from './files/rig-channels';

/** INA226: steps of 2.5 µV across the shunt and 1.25 mV of bus voltage (SBOS547, tables 5 and 6). */
export const INA226 = { shunt_V: 2.5e-6, bus_V: 1.25e-3, most: 32767, averages: [1, 4, 16, 64, 128, 256, 512, 1024], conversions_us: [140, 204, 332, 588, 1100, 2116, 4156, 8244] } as const;
/** INA219: steps of 10 µV across the shunt (±320 mV at its widest range) and 4 mV of bus voltage (SBOS448). */
export const INA219 = { shunt_V: 10e-6, bus_V: 4e-3, mostShunt: 32000, mostBus: 8000, averages: [1, 2, 4, 8, 16, 32, 64, 128], conversion_us: 532 } as const;
/** ADS1115: full scale by amplifier gain, of 32768 steps (SBAS444, table 7-1); conversions a second. */
export const ADS1115 = { full_V: new Map([[1, 4.096], [2, 2.048], [4, 1.024], [8, 0.512], [16, 0.256]]), rates_Hz: [8, 16, 32, 64, 128, 250, 475, 860], most: 32767 } as const;
/** NAU7802: 24 bits; amplifier gains 1 to 128, conversions a second. */
export const NAU7802 = { gains: [1, 2, 4, 8, 16, 32, 64, 128], rates_Hz: [10, 20, 40, 80, 320], most: 0x7fffff } as const;
/** Analogue input of the ATmega328P: 10 bits. */
export const ANALOG = { most: 1023, full_V: 5 } as const;

/** Smallest of the steps that is at least `least`; null when none is. */
export function stepFrom(steps: readonly number[], least: number): number | null {
  return steps.find((step) => step >= least) ?? null;
}

/** What one count of a channel is worth by its source alone, in the channel's unit; null where only the rig file can know. */
export function gainBySource(channel: RigChannel): number | null {
  const { source } = channel;
  if (source.kind !== 'power-monitor') return null;
  const part = source.part === 'ina226' ? INA226 : INA219;
  return channel.kind === 'voltage' ? part.bus_V : part.shunt_V / source.shunt_ohm;
}

/** Lowest and highest count that the source of a channel gives; null where it is not known here. */
export function countRange(channel: RigChannel): { readonly from: number; readonly to: number } | null {
  const { source } = channel;
  switch (source.kind) {
    case 'power-monitor': {
      if (source.part === 'ina226') return channel.kind === 'voltage' ? { from: 0, to: INA226.most } : { from: -INA226.most, to: INA226.most };
      return channel.kind === 'voltage' ? { from: 0, to: INA219.mostBus } : { from: -INA219.mostShunt, to: INA219.mostShunt };
    }
    case 'converter': {
      if (source.element !== null) return null;
      const { most } = source.part === 'ads1115' ? ADS1115 : NAU7802;
      return { from: -most * channel.averages, to: most * channel.averages };
    }
    case 'analog': return source.element !== null ? null : { from: 0, to: ANALOG.most * channel.averages };
    case 'board':
    case 'esc-telemetry':
    case 'thermistor':
    case 'tachometer':
    case 'analog-tachometer': return null;
  }
}
