/**
 * The distribution behind comparisons with one baseline (Dunnett, J. American Statistical Association 50 (1955) 1096):
 * the largest |t| of several contrasts that share the baseline's mean and one pooled spread.
 */
import { coverageFactor, normalCdf } from './quantiles';
import { requireDof, requireProbability } from './check';
import { rootOf } from './root';
import { overSpread } from './spread';

/** Half-range and step of the baseline's standard normal; the trapezoid rule converges fast on such integrands. */
const Z_RANGE = 6.6;
const Z_STEP = 0.2;

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
  return clamp(overSpread(dof, (s) => givenSpread(c * s, terms)));
}

/** Factor for simultaneous intervals: `dunnettCdf(result) = p`. */
export function dunnettQuantile(p: number, sizes: readonly number[], baselineSize: number, dof: number): number {
  requireProbability(p, 'probability');
  const key = `${p}/${[...sizes].sort((a, b) => a - b).join(',')}/${baselineSize}/${dof}`;
  const known = remembered.get(key);
  if (known !== undefined) return known;
  // The factor lies between the single and the Bonferroni quantile of t.
  const miss = (c: number): number => dunnettCdf(c, sizes, baselineSize, dof) - p;
  const c = rootOf(miss, 0.999 * coverageFactor(p, dof), 1.001 * coverageFactor(1 - (1 - p) / sizes.length, dof));
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
