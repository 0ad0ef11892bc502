// Before the motor turns: is there a proof that it can be stopped, where the rig asks for one?
import { wallClock_ms } from '../../host/wall-clock';
import type { Rig } from '../../model/files';
import type { LayerProof } from '../../model/rig-check';
import { BadInput } from '../errors';
import { judgeProof, newestCheck, rigDigest } from './store';

/** What a record says of the rig's last check. */
export interface ProofNote {
  readonly at: string;
  readonly proven: boolean;
  /** The rig's link, throttle, channels and limits are still those that were checked. */
  readonly current: boolean;
  readonly layers: readonly Pick<LayerProof, 'layer' | 'verdict' | 'to_zero_s' | 'to_standstill_s'>[];
}

/** For the records of this rig; null when it has never been checked. */
export function proofNote(bench: string, rig: Rig): ProofNote | null {
  const check = newestCheck(bench, rig)?.check ?? null;
  if (check === null) return null;
  const layers = check.layers.map(({ layer, verdict, to_zero_s, to_standstill_s }) => ({ layer, verdict, to_zero_s, to_standstill_s }));
  return { at: check.at, proven: check.proven, current: check.rig_sha256 === rigDigest(rig), layers };
}

/** @throws BadInput when the rig asks for a proof and there is none that holds */
export function requireProof(bench: string, rig: Rig, now_ms: number = wallClock_ms()): void {
  const { problem } = judgeProof(newestCheck(bench, rig), rig, now_ms);
  if (problem !== null) throw new BadInput([`${rig.name}: ${problem}`]);
}
