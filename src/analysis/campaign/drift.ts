/** Drift of a metric over the campaign, from the baseline runs spread through it. */
import type { ResultDrift } from '../../model/results';
import { driftAt, driftBetween, fitDrift } from '../stats/drift';
import type { Component } from '../stats/uncertainty';
import type { Repeat } from './collect';

/** A drift below this chance of being none is removed. */
const LEVEL = 0.05;

/** The drift as results show it, and the function that takes it out (the identity when there is none to take). */
export type Drifting = {
  readonly result: ResultDrift;
  readonly remove: (repeat: Repeat) => number;
  /** What taking it out adds to the uncertainty of a difference between repeats at these places; 0 when nothing is taken out. */
  readonly adds: (a: readonly Repeat[], b: readonly Repeat[]) => Component;
};

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
  const nothing = (): Component => ({ u: 0, dof: Infinity });
  if (!fit.ok) return { result: { ...common, end_to_end: null, interval: null, p: null, removed: false, reason: fit.reason }, remove: same, adds: nothing };
  const units = new Set(repeats.map((r) => r.mounting)).size;
  const removed = units < 2 && planned >= 3 && fit.p !== null && fit.p < LEVEL;
  const reason = removed ? null : units > 1 ? 'mountings or specimens changed on the way: taking those out takes drift between them out too, and nothing more is taken out' : planned < 3 ? 'no baseline runs were planned (order.baseline_every), so nothing is taken out' : 'the drift cannot be told from scatter, so nothing is taken out';
  return {
    result: { ...common, end_to_end: fit.endToEnd.value, interval: { ...fit.endToEnd.interval }, p: fit.p, removed, reason },
    remove: removed ? (r) => r.value - driftAt(fit, r.index) : same,
    adds: removed ? (a, b) => ({ u: driftBetween(fit, a.map((r) => r.index), b.map((r) => r.index)).u, dof: fit.dof }) : nothing,
  };
}
