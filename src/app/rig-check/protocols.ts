// What is played to check a rig. Short, slow and low: nobody knows yet whether this rig stops.
import { level, ramp, rest, train } from '../../protocols/builders';
import { defineProtocol, type Protocol } from '../../protocols/protocol';
import type { ProtocolNeeds } from '../../model/segment';

const ANY: ProtocolNeeds = { propeller: 'any', channels: [], sink: false, supply_V: null, min_rate_Hz: 1 };
const THROTTLE = { dimension: 'ratio', min: 0.001, max: 0.5 } as const;

/** Nothing turns: noise, drift, rates, plausibility. */
export const checkRest = defineProtocol({
  name: 'check-rest', summary: 'Everything at rest',
  parameters: { time: { dimension: 'time', default: 10, min: 1, max: 600, about: 'How long' } },
  needs: ANY,
  *steps(p) {
    yield rest(p.time, { label: 'at rest', role: 'check-rest' });
  },
});

/** The first spin: half of idle must stand still, idle must turn, a low bump must look right. */
export const checkSpin = defineProtocol({
  name: 'check-spin', summary: 'The first spin',
  parameters: {
    boot: { dimension: 'time', default: 0, min: 0, max: 60, about: 'How long the ESC needs at stop after power-on' },
    idle: { dimension: 'ratio', default: 0, min: 0, max: 0.5, about: 'Least throttle that turns; 0: not declared' },
    bump: { ...THROTTLE, default: 0.1, about: 'Throttle of the bump' },
  },
  needs: ANY,
  *steps(p) {
    if (p.boot > 0) yield rest(p.boot, { label: 'the ESC starts', role: 'boot' });
    if (p.idle > 0) {
      yield level(p.idle / 2, 0.8, { label: 'half of idle', role: 'below-idle' });
      yield rest(0.5);
      yield level(p.idle, 1, { label: 'idle', role: 'idle' });
    }
    yield ramp(p.bump, 0.3, { label: 'to the bump' });
    yield level(p.bump, 1.5, { label: 'bump', role: 'bump' });
  },
});

/** Softly up to full throttle and down again, without a propeller: what speed, voltage and KV say about the pole pairs. */
export const checkFull = defineProtocol({
  name: 'check-full', summary: 'Full throttle, softly',
  parameters: {},
  needs: ANY,
  *steps() {
    yield ramp(1, 2, { label: 'up' });
    yield level(1, 0.8, { label: 'full', role: 'full' });
    yield ramp(0, 2, { label: 'down' });
  },
});

/** Hard steps: how far the bus dips and rises. */
export const checkSteps = defineProtocol({
  name: 'check-steps', summary: 'Steps that load the supply',
  parameters: { low: { ...THROTTLE, default: 0.1, about: 'Lower throttle' }, high: { ...THROTTLE, default: 0.5, about: 'Upper throttle' } },
  needs: { ...ANY, sink: true },
  *steps(p) {
    yield ramp(p.low, 0.5);
    yield level(p.low, 0.5, { label: 'settle', role: 'settle' });
    yield* train({ low: p.low, high: p.high, cycles: 4, dwell_s: 0.5, dither_s: 0, seed: 1 });
  },
});

/** A steady low throttle in which one layer is to stop the motor. The run is to end before this does. */
export const checkStop = defineProtocol({
  name: 'check-stop', summary: 'A steady throttle that one layer is to end',
  parameters: { bump: { ...THROTTLE, default: 0.1, about: 'Throttle' }, time: { dimension: 'time', default: 8, min: 2, max: 120, about: 'Longest time' } },
  needs: ANY,
  *steps(p) {
    yield ramp(p.bump, 0.5, { label: 'to the level' });
    yield level(p.bump, p.time, { label: 'until a layer stops it', role: 'proof' });
  },
});

/** Steady levels whose means are compared between mountings. */
export const checkMounting = defineProtocol({
  name: 'check-mounting', summary: 'One steady level, to compare mountings',
  parameters: { throttle: { dimension: 'ratio', default: 0.5, min: 0.05, max: 1, about: 'Throttle' }, time: { dimension: 'time', default: 3, min: 1, max: 60, about: 'Time at it; the last half counts' } },
  needs: ANY,
  *steps(p) {
    yield ramp(p.throttle, 1);
    yield level(p.throttle, p.time, { label: 'level', role: 'mounting' });
    yield ramp(0, 0.5);
  },
});

export const CHECK_PROTOCOLS: readonly Protocol[] = [checkRest, checkSpin, checkFull, checkSteps, checkStop, checkMounting];
