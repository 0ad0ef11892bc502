/**
 * The distribution of an estimated spread, and averages over it: the integral that t-like distributions share.
 * s = χ_ν/√ν is the ratio of an estimated to the true standard deviation at ν degrees of freedom.
 */

/** Nodes over s with weights that add up to 1. */
export type SpreadNodes = { readonly s: Float64Array; readonly weight: Float64Array };

/** The integrand below e^-30 of its peak is left out: 1e-13. */
const NEGLIGIBLE = -30;
const remembered = new Map<string, SpreadNodes>();

/**
 * Nodes of the trapezoid rule over v = ln s, in which the density is ∝ exp(ν(v − e^{2v}/2)) and falls away on both sides; on
 * such integrands the rule converges fast.
 * @param fineness 1 for averages of functions as smooth as the density; more for steeper ones
 */
export function spreadNodes(dof: number, fineness = 1): SpreadNodes {
  const key = `${dof}/${fineness}`;
  const known = remembered.get(key);
  if (known !== undefined) return known;
  const logDensity = (v: number): number => dof * (v - Math.exp(2 * v) / 2 + 0.5);
  const low = edge(logDensity, -1);
  const high = edge(logDensity, 1);
  const count = Math.ceil((40 + 160 / dof) * fineness);
  const s = new Float64Array(count + 1);
  const weight = new Float64Array(count + 1);
  let total = 0;
  for (let i = 0; i <= count; i++) {
    const v = low + ((high - low) * i) / count;
    s[i] = Math.exp(v);
    weight[i] = Math.exp(logDensity(v));
    total += weight[i];
  }
  for (let i = 0; i <= count; i++) weight[i] /= total;
  if (remembered.size > 5000) remembered.clear();
  const nodes = { s, weight };
  remembered.set(key, nodes);
  return nodes;
}

/**
 * Average of a function of s over the spread's distribution. `dof` may be Infinity: then s is 1. A function of c·s needs no more nodes for a
 * large c: in v = ln s a factor is a shift, which makes nothing steeper.
 */
export function overSpread(dof: number, of: (s: number) => number, fineness = 1): number {
  if (dof === Infinity) return of(1);
  const { s, weight } = spreadNodes(dof, fineness);
  let sum = 0;
  for (let i = 0; i < s.length; i++) sum += weight[i] * of(s[i]);
  return sum;
}

function edge(logDensity: (v: number) => number, side: 1 | -1): number {
  let far: number = side;
  while (logDensity(far) > NEGLIGIBLE) far *= 2;
  let near = 0;
  for (let i = 0; i < 40; i++) {
    const middle = (near + far) / 2;
    if (logDensity(middle) > NEGLIGIBLE) near = middle; else far = middle;
  }
  return far;
}
