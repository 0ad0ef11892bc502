// kv: how fast the bare motor turns for each volt.
import { level, ramp } from './builders';
import { defineProtocol } from './protocol';

/**
 * Without a propeller, at a low supply voltage: a start at low throttle, a ramp to full, a plateau there, a soft ramp down.
 * Full throttle is the one place where duty cycle and its rounding play no part; a low voltage keeps a bare motor's speed safe.
 */
export const kv = defineProtocol({
  name: 'kv',
  summary: 'Speed per volt at full throttle and no-load current, without propeller at a low voltage',
  parameters: {
    supply: { dimension: 'voltage', default: 3, min: 1, max: 60, about: 'Supply voltage during the run' },
    low: { dimension: 'ratio', default: 0.1, min: 0.02, max: 0.5, about: 'Throttle at which the motor starts' },
    low_for: { dimension: 'time', default: 0.5, min: 0.1, max: 10, about: 'Time at the low throttle' },
    rise: { dimension: 'time', default: 2, min: 0.5, max: 60, about: 'Time of the ramp to full throttle' },
    plateau: { dimension: 'time', default: 1, min: 0.5, max: 10, about: 'Time at full throttle' },
    fall: { dimension: 'time', default: 1, min: 0.2, max: 60, about: 'Time of the ramp back to zero' },
  },
  needs: (p) => ({ propeller: 'off', channels: ['current', 'voltage', 'speed'], sink: false, supply_V: p.supply, min_rate_Hz: 50 }),
  *steps(p) {
    yield level(p.low, p.low_for, { label: 'start', role: 'start' });
    yield ramp(1, p.rise, { label: 'ramp to full', role: 'ramp-up' });
    yield level(1, p.plateau, { label: 'full throttle', role: 'plateau' });
    yield ramp(0, p.fall, { label: 'ramp down', role: 'ramp-down' });
  },
});
