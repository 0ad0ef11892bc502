// soak: how warm it gets, how quickly, and what drifts meanwhile.
import { holdPower, level, ramp, rest } from './builders';
import { defineProtocol } from './protocol';
import { hoverPower } from './targets';

/** Constant power for minutes, then a rest at zero in which the cooling is recorded too. */
export const soak = defineProtocol({
  name: 'soak',
  summary: 'Temperature rise, thermal time constant and drift at constant power over minutes',
  parameters: {
    power: { dimension: 'power', default: null, min: 0.1, max: 5000, about: 'Electrical power to hold', when_absent: 'about hover, from the article' },
    hold: { dimension: 'time', default: 300, min: 60, max: 600, about: 'Time at constant power; the rig\'s longest_run must allow it' },
    cool: { dimension: 'time', default: 60, min: 1, max: 600, about: 'Time at rest afterwards, recorded' },
    start: { dimension: 'ratio', default: 0.1, min: 0.02, max: 0.5, about: 'Throttle at which the motor starts' },
    start_for: { dimension: 'time', default: 0.5, min: 0.1, max: 10, about: 'Time at the start throttle' },
    cap: { dimension: 'ratio', default: 1, min: 0.05, max: 1, about: 'Throttle that the loop may not exceed' },
  },
  check: (p) => (p.cap >= p.start ? [] : [{ path: ['cap'], message: 'the cap lies below the start throttle', accepted: 'start or more' }]),
  derive: (p, facts) => (p.power === null ? { power: hoverPower(facts) } : {}),
  needs: { propeller: 'on', channels: ['current', 'voltage', 'speed', 'motor_temperature'], sink: false, supply_V: null, min_rate_Hz: 5 },
  *steps(p, facts) {
    const power = p.power ?? hoverPower(facts).value;
    yield level(p.start, p.start_for, { label: 'start', role: 'start' });
    yield holdPower(power, p.hold, { role: 'soak', cap: p.cap, tags: { target_W: power } });
    yield ramp(0, 1, { label: 'ramp down', role: 'ramp-down' });
    yield rest(p.cool, { label: 'cooling', role: 'cool' });
  },
});
