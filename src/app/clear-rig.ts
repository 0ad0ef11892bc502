// `rig clear`: a board that holds a trip from before is looked at, and let go of by a deliberate act. Nothing is armed by it.
import { BadInput } from './errors';
import { opener } from './rig-check/during';
import { letGo, readyCheck, type CheckBench } from './rig-check/session';
import type { Reporter } from './reporter';

export interface ClearOptions {
  readonly bench: string;
  readonly reporter: Reporter;
  /** Shows what the board holds; true when the person has found out why and wants it cleared. */
  readonly confirm: (trip: string) => Promise<boolean>;
  readonly open?: CheckBench['open'];
}

/** How it went: nothing was held, the person left it, it was cleared, or it stays, with the reasons. */
export type ClearEnd = { readonly end: 'nothing' | 'left' | 'cleared' } | { readonly end: 'stays'; readonly reasons: readonly string[] };

/** @throws BadInput for bad files, and when the board cannot be greeted for another reason than a trip */
export async function clearRig({ bench, reporter, confirm, open }: ClearOptions): Promise<ClearEnd> {
  const world = (open ?? opener(reporter))(readyCheck(bench, 'check-rest'));
  try {
    const trip = await heldTrip(world);
    if (trip === null) return { end: 'nothing' };
    if (!(await confirm(trip))) return { end: 'left' };
    const reasons = await world.clearTrip('rig clear');
    return reasons.length === 0 ? { end: 'cleared' } : { end: 'stays', reasons };
  } finally {
    await letGo(world);
  }
}

async function heldTrip(world: ReturnType<CheckBench['open']>): Promise<string | null> {
  try {
    await world.connect();
    return null;
  } catch (error) {
    const trip = world.oldTrip?.() ?? null;
    if (trip === null || !(error instanceof BadInput)) throw error;
    return trip;
  }
}
