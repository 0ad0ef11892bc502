// No ending means "ramp to zero", never "hold".
import type { ProtocolSteps, Step } from '../model/segment';
import { ENDING_S, ramp } from './builders';

/**
 * The steps, and a ramp to zero after them unless the last segment already ends at zero throttle. A protocol that asks and
 * then stops gets the ramp too: the segment it asked about was not announced as the last.
 */
export function* ended(steps: ProtocolSteps): ProtocolSteps {
  let atZero = true;
  let answer: number | undefined;
  try {
    for (;;) {
      const next = steps.next(answer);
      if (next.done === true) break;
      if (next.value.kind !== 'mark') atZero = endsAtZero(next.value);
      answer = yield next.value;
    }
  } finally {
    steps.return();
  }
  if (!atZero) yield ramp(0, ENDING_S, { label: 'ending', role: 'ending' });
}

function endsAtZero(step: Step): boolean {
  if (step.kind === 'rest') return true;
  if (step.kind === 'ramp') return step.to === 0;
  if (step.kind === 'level') return step.throttle === 0 && step.slew_per_s === undefined;
  return false;
}
