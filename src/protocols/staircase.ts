// staircase: the steady-state curve, level by level.
import { level, percent, ramp, repeat } from './builders';
import { defineProtocol } from './protocol';
import { shuffled, uniform } from './random';

/** Faster changes of throttle than this brake hard enough to need a sink, fraction per second (common practice, no published source). */
const SOFT_SLEW_PER_S = 4;

/**
 * Held levels in shuffled order, so that warming up and drift spread over all of them instead of tilting the curve. The
 * throttle moves between levels at a limited rate. Every pass is shuffled anew.
 */
export const staircase = defineProtocol({
  name: 'staircase',
  summary: 'Steady-state curve from held throttle levels in shuffled order',
  parameters: {
    low: { dimension: 'ratio', default: 0.1, min: 0.02, max: 0.9, about: 'Lowest level' },
    high: { dimension: 'ratio', default: 1, min: 0.1, max: 1, about: 'Highest level' },
    levels: { dimension: 'count', default: 10, min: 2, max: 100, about: 'Number of levels, evenly spaced' },
    passes: { dimension: 'count', default: 1, min: 1, max: 20, about: 'How often every level is visited' },
    dwell: { dimension: 'time', default: 2, min: 0.2, max: 60, about: 'Time at each level' },
    discard: { dimension: 'time', default: 1, min: 0, max: 60, about: 'First part of each level that analysis leaves out' },
    slew: { dimension: 'ratio_rate', default: 2, min: 0.2, max: 50, about: 'Rate at which the throttle moves between levels; above 400 %/s the rig needs a sink' },
    seed: { dimension: 'seed', default: 1, min: 0, max: 2 ** 32 - 1, about: 'Decides the order' },
  },
  check(p) {
    const travel = (p.high - p.low) / p.slew;
    return [
      ...(p.high > p.low ? [] : [{ path: ['high'], message: 'the highest level does not lie above the lowest', accepted: 'high above low' }]),
      ...(p.discard < p.dwell ? [] : [{ path: ['discard'], message: 'nothing of a level would be left', accepted: 'less than dwell' }]),
      ...(travel <= Math.max(p.discard, p.dwell / 2) ? [] : [{ path: ['slew'], message: `the widest move takes ${travel.toFixed(2)} s and would reach into the part that is used`, accepted: 'a faster slew, or a longer discard and dwell' }]),
    ];
  },
  needs: (p) => ({ propeller: 'on', channels: ['current', 'voltage', 'speed', 'thrust'], sink: p.slew > SOFT_SLEW_PER_S, supply_V: null, min_rate_Hz: 20 }),
  *steps(p) {
    const next = uniform(p.seed);
    const all = Array.from({ length: p.levels }, (_, i) => ({ index: i + 1, throttle: rounded(p.low + ((p.high - p.low) * i) / (p.levels - 1)) }));
    yield level(p.low, 1, { label: 'start', role: 'start' });
    yield* repeat(p.passes, (pass) =>
      shuffled(all, next).map(({ index, throttle }) =>
        level(throttle, p.dwell, {
          label: `level ${percent(throttle)}${p.passes > 1 ? `, pass ${pass}` : ''}`, role: 'level', slew_per_s: p.slew,
          tags: { level: index, throttle, pass, discard_s: p.discard },
        })));
    yield ramp(0, 1, { label: 'ramp down', role: 'ramp-down' });
  },
});

/** The board's throttle has steps of 0.01 %. */
function rounded(throttle: number): number {
  return Math.round(throttle * 1e4) / 1e4;
}
