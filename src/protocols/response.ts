// response: how fast the drive speeds up and slows down.
import { ENDING_S, level, ramp, train } from './builders';
import { defineProtocol } from './protocol';

/**
 * Hard steps between two levels, many each way, each dwell lengthened or shortened a little by the seed so that the steps lock
 * to no sampling or telemetry rhythm. It measures braking, so the steps down are hard; the rig needs a declared sink.
 */
export const response = defineProtocol({
  name: 'response',
  summary: 'Rise and fall times, dead time, overshoot and desyncs from many hard steps between two levels',
  parameters: {
    low: { dimension: 'ratio', default: 0.1, min: 0.02, max: 0.95, about: 'Lower level' },
    high: { dimension: 'ratio', default: 0.5, min: 0.05, max: 1, about: 'Upper level' },
    steps: { dimension: 'count', default: 30, min: 30, max: 1000, about: 'Steps each way; fewer than 30 give no honest spread' },
    dwell: { dimension: 'time', default: 0.5, min: 0.1, max: 10, about: 'Time at each level' },
    dither: { dimension: 'time', default: 0.01, min: 0, max: 1, about: 'Most by which a dwell is lengthened or shortened' },
    settle: { dimension: 'time', default: 1, min: 0.5, max: 10, about: 'Time at the lower level before the first step' },
    seed: { dimension: 'seed', default: 1, min: 0, max: 2 ** 32 - 1, about: 'Decides the dither' },
  },
  check: (p) => [
    ...(p.high > p.low ? [] : [{ path: ['high'], message: 'the upper level does not lie above the lower', accepted: 'high above low' }]),
    ...(p.dither <= p.dwell / 4 ? [] : [{ path: ['dither'], message: 'the dither is more than a quarter of the dwell', accepted: 'at most dwell / 4' }]),
  ],
  needs: { propeller: 'on', channels: ['current', 'voltage', 'speed'], sink: true, supply_V: null, min_rate_Hz: 500 },
  *steps(p) {
    yield level(p.low, p.settle, { label: 'settle', role: 'settle' });
    yield* train({ low: p.low, high: p.high, cycles: p.steps, dwell_s: p.dwell, dither_s: p.dither, seed: p.seed });
    yield ramp(0, ENDING_S, { label: 'ramp down', role: 'ramp-down' });
  },
});
