// thrust-curve: what comes out over the whole throttle range, in one sweep up and one down.
import { ENDING_S, level, ramp } from './builders';
import { defineProtocol } from './protocol';

/**
 * A second at low throttle, a slow ramp to full, a plateau, the same ramp down. Up and down have the same slope, so that lag
 * shows as a difference between them and can be taken out; analysis takes full-throttle values from 0.4 to 0.9 s of the plateau.
 */
export const thrustCurve = defineProtocol({
  name: 'thrust-curve',
  summary: 'Thrust, speed, current and power over throttle: a slow ramp to full, a plateau, the same ramp down',
  parameters: {
    low: { dimension: 'ratio', default: 0.1, min: 0.02, max: 0.5, about: 'Throttle at which the sweep starts and ends' },
    low_for: { dimension: 'time', default: 1, min: 0.2, max: 10, about: 'Time at the low throttle before the sweep' },
    high: { dimension: 'ratio', default: 1, min: 0.2, max: 1, about: 'Throttle at the top' },
    ramp: { dimension: 'time', default: 5, min: 1, max: 120, about: 'Time of each ramp' },
    plateau: { dimension: 'time', default: 1, min: 1, max: 10, about: 'Time at the top; analysis uses 0.4 to 0.9 s after arrival' },
  },
  check: (p) => (p.high > p.low ? [] : [{ path: ['high'], message: 'the top does not lie above the low throttle', accepted: 'high above low' }]),
  needs: { propeller: 'on', channels: ['current', 'voltage', 'speed', 'thrust'], sink: false, supply_V: null, min_rate_Hz: 100 },
  *steps(p) {
    yield level(p.low, p.low_for, { label: 'low', role: 'low' });
    yield ramp(p.high, p.ramp, { label: 'ramp up', role: 'ramp-up' });
    yield level(p.high, p.plateau, { label: 'plateau', role: 'plateau' });
    yield ramp(p.low, p.ramp, { label: 'ramp down', role: 'ramp-down' });
    yield ramp(0, ENDING_S, { label: 'ending', role: 'ending' });
  },
});
