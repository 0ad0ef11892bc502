/** The shape in which every measured or derived figure travels: value, standard uncertainty and where they come from. */
import { around, noInterval, type Interval } from './interval';
import { factorWithBound } from './bounded';

/**
 * A value with its standard uncertainty. Every number is finite or null.
 * - `value` null: there is no figure; `reason` says why.
 * - `u` null: there is a figure but nothing to judge its uncertainty by; `reason` says why.
 * - `dof` null with `u` present: unlimited degrees of freedom (the normal distribution applies).
 */
export type Estimate = {
  readonly value: number | null;
  readonly unit: string;
  /** Standard uncertainty, in `unit`. */
  readonly u: number | null;
  /** (Effective) degrees of freedom of `u`. */
  readonly dof: number | null;
  /** How the value was obtained. */
  readonly method: string;
  /** What the value is an estimate of, e.g. "this mounting" or "averaged over re-mounts". */
  readonly estimand: string;
  readonly flags: readonly string[];
  readonly reason: string | null;
};

/** The describing part of an estimate. */
export type Description = {
  readonly unit: string;
  readonly method: string;
  readonly estimand: string;
  readonly flags?: readonly string[];
};

/** Degrees of freedom as a number for formulas: null (unlimited) becomes Infinity. */
export const dofNumber = (dof: number | null): number => dof ?? Infinity;

/** Degrees of freedom for a result: anything that is not finite becomes null (unlimited). */
export const dofField = (dof: number): number | null => (Number.isFinite(dof) ? dof : null);

/** An estimate with value and uncertainty. Numbers that are not finite turn into a missing value with a reason. */
export function estimate(value: number, u: number | null, dof: number | null, about: Description, reason: string | null = null): Estimate {
  if (!Number.isFinite(value)) return missing(about, `the computation gave ${value}`);
  const usable = u !== null && Number.isFinite(u) && u >= 0;
  return {
    value, unit: about.unit, u: usable ? u : null, dof: usable && dof !== null ? dofField(dof) : null,
    method: about.method, estimand: about.estimand, flags: about.flags ?? [],
    reason: usable ? reason : reason ?? (u === null ? 'no uncertainty is known' : `the uncertainty came out as ${u}`),
  };
}

/** An estimate without a value, because of `reason`. */
export const missing = (about: Description, reason: string): Estimate => ({
  value: null, unit: about.unit, u: null, dof: null, method: about.method, estimand: about.estimand,
  flags: about.flags ?? [], reason,
});

/**
 * The interval value ± k·u with the factor of t, or of `factorWithBound` where the largest error with a bound has a share of u²;
 * without value or uncertainty there is no interval, and the reason is kept.
 */
export function expandedInterval(of: Estimate, confidence = 0.95, share = 0): Interval {
  if (of.value === null || of.u === null) return noInterval(confidence, of.reason ?? 'no uncertainty is known');
  return around(of.value, factorWithBound(confidence, dofNumber(of.dof), share) * of.u, confidence);
}
