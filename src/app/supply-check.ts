// Is the supply what it was set to, and as stiff as it was? Looked at before every run.
import type { Rig } from '../model/files';
import type { StiffnessNote } from './run-watch';

/** Where the rig file does not say (`arm_when.supply_within`), the bus at rest may lie this far from what was set. Rule of ours. */
const USUAL_TOLERANCE = 0.05;
/** Source resistance that has grown by more than half and by more than 10 mΩ is worth a word: a lead or plug has worked loose. Rule of ours. */
const SOFTER_BY = { share: 0.5, ohm: 0.01 };

/** Why no run may follow with this bus voltage at rest; null when all is well or nothing is known. */
export function supplyProblem(at_rest_V: number | null, set_V: number, rig: Rig): string | null {
  if (at_rest_V === null) return null;
  const within = rig.arm_when?.supply_within ?? USUAL_TOLERANCE;
  const off = at_rest_V / set_V - 1;
  if (Math.abs(off) <= within) return null;
  return `The bus stands at ${at_rest_V.toFixed(3)} V at rest, ${(100 * off).toFixed(1)} % from the ${set_V} V that were set (accepted: ${(100 * within).toFixed(0)} %). Look at the supply, its leads and the voltage sense.`;
}

/** Remembers how stiff the supply was for each protocol, and says when it has become softer. */
export class Stiffness {
  private readonly first = new Map<string, number>();

  /** A sentence when the source resistance has grown; else null. */
  take(protocol: string, note: StiffnessNote | null): string | null {
    const now = note?.source_ohm ?? null;
    if (now === null) return null;
    const then = this.first.get(protocol);
    if (then === undefined) this.first.set(protocol, now);
    if (then === undefined || now - then < SOFTER_BY.ohm || now < then * (1 + SOFTER_BY.share)) return null;
    return `The supply has become softer: ${(1000 * now).toFixed(0)} mΩ in this run, ${(1000 * then).toFixed(0)} mΩ in the first ${protocol}. Look at plugs and leads.`;
  }
}
