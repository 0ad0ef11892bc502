// How near a run came to each limit: what tells, after a long job, which limit was too tight.
import type { ClosestApproach } from '../model/trip';
import type { JudgeState } from './judge';

/** The closest approach to each limit since the run began, nearest first. */
export function closestApproaches(state: JudgeState): ClosestApproach[] {
  const all = state.rules.all.map((rule) => rule.closest()).filter((c) => c !== null);
  return all.sort((a, b) => b.ratio - a.ratio || (a.limit < b.limit ? -1 : 1));
}
