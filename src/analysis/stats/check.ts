/** Guards shared by the statistics: a bad argument is a mistake of the caller and is named, never computed with. */

/** Any read-only list of numbers: a plain or a typed array. */
export type Numbers = ArrayLike<number>;

/** A result that could not be computed, with the sentence that says why. */
export type NoResult = { readonly ok: false; readonly reason: string };

/** Builds a `NoResult`. */
export const noResult = (reason: string): NoResult => ({ ok: false, reason });

/**
 * Throws when a value is NaN or infinite.
 * @param values the numbers to look at
 * @param name what they are, for the message
 * @throws RangeError naming the first offending index, its value and the length
 */
export function requireFinite(values: Numbers, name: string): void {
  for (let i = 0; i < values.length; i++) {
    if (!Number.isFinite(values[i])) {
      throw new RangeError(`${name}[${i}] of ${values.length} is ${values[i]}; leave such values out before the statistics and count them`);
    }
  }
}

/** Throws when two lists that go together differ in length. */
export function requireSameLength(a: Numbers, b: Numbers, names: string): void {
  if (a.length !== b.length) throw new RangeError(`${names} differ in length: ${a.length} and ${b.length}`);
}

/** Throws unless 0 < p < 1. */
export function requireProbability(p: number, name: string): void {
  if (!(p > 0 && p < 1)) throw new RangeError(`${name} is ${p}; it must lie between 0 and 1, ends excluded`);
}

/** Throws unless the degrees of freedom are positive; Infinity is allowed and means the normal distribution. */
export function requireDof(dof: number, name = 'degrees of freedom'): void {
  if (!(dof > 0)) throw new RangeError(`${name} is ${dof}; it must be greater than 0 (Infinity for a normal distribution)`);
}
