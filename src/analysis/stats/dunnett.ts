/**
 * The distribution behind comparisons with one baseline (Dunnett, J. American Statistical Association 50 (1955) 1096):
 * the largest |t| of several contrasts that share the baseline's mean and one pooled spread.
 */
import { coverageFactor, normalCdf } from './quantiles';
import { requireDof, requireProbability } from './check';

/** Half-range and step of the baseline's standard normal; the trapezoid rule converges fast on such integrands. */
const Z_RANGE = 6.6;
const Z_STEP = 0.2;
/** Nodes over the spread's distribution, which has a long tail at few degrees of freedom. */
const spreadNodes = (dof: number): number => Math.ceil(48 + 300 / dof);
/** Integrand below e^-24 of its peak is left out. */
const NEGLIGIBLE = -24;

/**
 * Probability that the largest |t| stays at or below c.
 * @param sizes repeats of each compared setting
 * @param baselineSize repeats of the baseline
 * @param dof degrees of freedom of the pooled spread; Infinity where it is known
 */
export function dunnettCdf(c: number, sizes: readonly number[], baselineSize: number, dof: number): number {
  requireDof(dof);
  if (sizes.length === 0 || baselineSize < 1 || sizes.some((n) => n < 1)) throw new RangeError(`Dunnett comparisons need repeats on every side, got ${sizes.join(', ')} against ${baselineSize}`);
  if (c <= 0) return 0;
  // Correlation of two contrasts is λ_i λ_j with λ = √(n/(n + n₀)); equal λ are raised to a power.
  const counts = new Map<number, number>();
  for (const n of sizes) {
    const lambda = Math.sqrt(n / (n + baselineSize));
    counts.set(lambda, (counts.get(lambda) ?? 0) + 1);
  }
  const terms = [...counts];
  if (dof === Infinity) return clamp(givenSpread(c, terms));
  // s = e^v is χ_ν/√ν; in v the density is ∝ exp(ν(v − e^{2v}/2)), which falls away on both sides.
  const logDensity = (v: number): number => dof * (v - Math.exp(2 * v) / 2 + 0.5);
  const low = edge(logDensity, -1);
  const high = edge(logDensity, 1);
  const nodes = spreadNodes(dof);
  const step = (high - low) / nodes;
  let sum = 0;
  let weight = 0;
  for (let i = 0; i <= nodes; i++) {
    const v = low + i * step;
    const w = Math.exp(logDensity(v));
    weight += w;
    sum += w * givenSpread(c * Math.exp(v), terms);
  }
  return clamp(sum / weight);
}

/** Factor for simultaneous intervals: `dunnettCdf(result) = p`. */
export function dunnettQuantile(p: number, sizes: readonly number[], baselineSize: number, dof: number): number {
  requireProbability(p, 'probability');
  const key = `${p}/${[...sizes].sort((a, b) => a - b).join(',')}/${baselineSize}/${dof}`;
  const known = remembered.get(key);
  if (known !== undefined) return known;
  // The factor lies between the single and the Bonferroni quantile of t; false position (Illinois rule) closes in.
  const miss = (c: number): number => dunnettCdf(c, sizes, baselineSize, dof) - p;
  let low = 0.999 * coverageFactor(p, dof);
  let high = 1.001 * coverageFactor(1 - (1 - p) / sizes.length, dof);
  let missLow = miss(low);
  let missHigh = miss(high);
  let c = high;
  let side = 0;
  for (let i = 0; i < 60 && high - low > 1e-9 * high; i++) {
    c = high - (missHigh * (high - low)) / (missHigh - missLow);
    const here = miss(c);
    if (Math.abs(here) < 1e-12) break;
    if (here < 0) {
      low = c;
      missLow = here;
      if (side < 0) missHigh /= 2;
    } else {
      high = c;
      missHigh = here;
      if (side > 0) missLow /= 2;
    }
    side = Math.sign(here);
  }
  if (remembered.size > 5000) remembered.clear();
  remembered.set(key, c);
  return c;
}

const remembered = new Map<string, number>();

const clamp = (p: number): number => Math.min(1, Math.max(0, p));

function givenSpread(bound: number, terms: readonly (readonly [number, number])[]): number {
  let sum = 0;
  for (let z = -Z_RANGE; z <= Z_RANGE; z += Z_STEP) {
    let product = Math.exp(-0.5 * z * z);
    for (const [lambda, count] of terms) {
      const rest = Math.sqrt(1 - lambda * lambda);
      product *= (normalCdf((bound - lambda * z) / rest) - normalCdf((-bound - lambda * z) / rest)) ** count;
    }
    sum += product;
  }
  return (sum * Z_STEP) / Math.sqrt(2 * Math.PI);
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
