// The zero of the load cell, before and after a protocol, inside the same record.
import { rest } from '../protocols/builders';
import type { ProtocolSteps } from '../model/segment';

/** How long the rotor is left to coast out before the second zero, s. */
export const COAST_S = 1.5;

/** The steps between two rests of `zero_s`; just the steps when that is 0. */
export function* withZeros(steps: ProtocolSteps, zero_s: number): ProtocolSteps {
  if (zero_s > 0) yield rest(zero_s, { label: 'zero before', role: 'zero-before' });
  yield* steps;
  if (zero_s > 0) {
    yield rest(COAST_S, { label: 'coast out', role: 'coast' });
    yield rest(zero_s, { label: 'zero after', role: 'zero-after' });
  }
}
