/** Drift of a metric over the campaign, from the baseline runs spread through it. */
import type { ResultDrift } from '../../model/results';
import { driftAt, fitDrift } from '../stats/drift';
import type { Repeat } from './collect';

/** A drift below this chance of being none is removed. */
const LEVEL = 0.05;

/** The drift as results show it, and the function that takes it out (the identity when there is none to take). */
export type Drifting = { readonly result: ResultDrift; readonly remove: (repeat: Repeat) => number };

/**
 * Estimates a straight drift from runs of the baseline setting. Baseline runs must have been planned for it: repeats that a
 * shuffle happened to spread are shown, but nothing is taken out by them.
 */
export function driftOf(repeats: readonly Repeat[], baseline: string | null, confidence: number): Drifting {
  const runs = repeats.filter((r) => r.setting === baseline).sort((a, b) => a.index - b.index);
  const planned = runs.filter((r) => r.kind === 'baseline').length;
  const fit = fitDrift(runs.map((r) => r.index), runs.map((r) => r.value), 'linear', confidence);
  const common = { runs: runs.length, points: runs.map((r) => ({ index: r.index, value: r.value })) };
  const same = (r: Repeat): number => r.value;
  if (!fit.ok) return { result: { ...common, end_to_end: null, interval: null, p: null, removed: false, reason: fit.reason }, remove: same };
  const removed = planned >= 3 && fit.p !== null && fit.p < LEVEL;
  const reason = removed ? null : planned < 3 ? 'no baseline runs were planned (order.baseline_every), so nothing is taken out' : 'the drift cannot be told from scatter, so nothing is taken out';
  return {
    result: { ...common, end_to_end: fit.endToEnd.value, interval: { ...fit.endToEnd.interval }, p: fit.p, removed, reason },
    remove: removed ? (r) => r.value - driftAt(fit, r.index) : same,
  };
}
