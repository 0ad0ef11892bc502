// Leave to drive: only while the judge is content, the link stands and the main process is alive.
import type { Permit } from '../model/trip';
import { brokenNow, type JudgeState } from './judge';
import { showTime } from './row';

/** A main process that was not heard for this long may not let a motor turn. */
export const HEARTBEAT_MAX_US = 500_000;

export interface PermitInput {
  readonly judge: JudgeState;
  /** Time since the main process was last heard, µs; Infinity when never. */
  readonly beatAge_us: number;
  /** Why the link is not ready, or null. */
  readonly link: string | null;
}

/** May the board drive now? Every reason against it, in words. */
export function permitNow(input: PermitInput): Permit {
  const { judge, beatAge_us, link } = input;
  const reasons: string[] = [];
  if (link !== null) reasons.push(link);
  const { first } = judge.latch;
  if (first !== null) reasons.push(`Tripped: ${first.code}. ${first.detail} Clear the trip first.`);
  if (beatAge_us > HEARTBEAT_MAX_US) reasons.push(heartbeatText(beatAge_us));
  for (const finding of brokenNow(judge)) reasons.push(finding.detail);
  return reasons.length > 0 ? { granted: false, reasons } : GRANTED;
}

const GRANTED: Permit = { granted: true, reasons: [] };

export function heartbeatText(age_us: number): string {
  return age_us === Infinity
    ? 'The main process was never heard.'
    : `The main process was last heard ${showTime(age_us)} ago (limit ${showTime(HEARTBEAT_MAX_US)}).`;
}
