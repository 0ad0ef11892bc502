// What turns between two runs: the standard pre-warm and the start check. Played and recorded like any protocol.
import { level, ramp } from '../protocols/builders';
import type { PreparedProtocol } from '../protocols/protocol';
import { walk } from '../protocols/walk';
import type { ReadyProtocol } from './prepare';

const UP_S = 0.5;
const DOWN_S = 0.5;

export interface Spin {
  readonly throttle: number;
  readonly for_s: number;
}

/** The same load every time, so that every run finds the motor in the same state. */
export function preWarm(spin: Spin): ReadyProtocol {
  return ready('pre-warm', 'A standard pre-warm between runs.', spin, 'pre-warm');
}

/** A short spin whose current is compared with the first one's. */
export function startCheck(spin: Spin): ReadyProtocol {
  return ready('start-check', 'A short spin that shows whether the drive is in the state it was in at first.', spin, 'start-check');
}

function ready(name: string, summary: string, { throttle, for_s }: Spin, role: string): ReadyProtocol {
  const steps = function* () {
    yield ramp(throttle, UP_S, { label: `${name}: up`, role: 'ramp' });
    yield level(throttle, for_s, { label: name, role });
    yield ramp(0, DOWN_S, { label: `${name}: down`, role: 'ramp-down' });
  };
  const prepared: PreparedProtocol = Object.freeze({
    name, summary, values: { throttle, for: for_s }, notes: [], needs: { propeller: 'any' as const, channels: [], sink: false, supply_V: null, min_rate_Hz: 0 }, steps, bare: steps,
  });
  return { label: name, prepared, walk: walk(steps()), written: {} };
}
