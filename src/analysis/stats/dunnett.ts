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
  const table = tableOf(terms);
  return clamp(overSpread(dof, (s) => table.at(c * s)));
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

type Terms = readonly (readonly [lambda: number, count: number])[];

/** Steps of a table a unit of the bound, and the bound beyond which nothing is left. */
const PER_UNIT = 32;
const WIDEST = 12;
const tables = new Map<string, BoundTable>();

/** The probability for a known spread as a table over the bound: it is asked for hundreds of times with the same sizes. */
function tableOf(terms: Terms): BoundTable {
  const key = terms.join('/');
  const known = tables.get(key);
  if (known !== undefined) return known;
  if (tables.size > 200) tables.clear();
  const table = new BoundTable(terms);
  tables.set(key, table);
  return table;
}

class BoundTable {
  private readonly value: Float64Array;

  constructor(terms: Terms) {
    this.value = Float64Array.from({ length: WIDEST * PER_UNIT + 3 }, (_, i) => givenSpread((i - 1) / PER_UNIT, terms));
  }

  /** By the cubic through the four nearest entries: good to 1e-8. */
  at(bound: number): number {
    const x = bound * PER_UNIT;
    const i = Math.floor(x);
    if (i >= WIDEST * PER_UNIT) return 1;
    const t = x - i;
    const [a, b, c, d] = [this.value[i], this.value[i + 1], this.value[i + 2], this.value[i + 3]];
    return b + t * ((c - a) / 2 - (d - 3 * c + 3 * b - a) / 6 + t * ((c - 2 * b + a) / 2 + (t * (d - 3 * c + 3 * b - a)) / 6));
  }
}

/** Probability that every |t| stays at or below the bound where the spread is known; odd continuation below 0 serves the table. */
function givenSpread(bound: number, terms: Terms): number {
  if (bound < 0) return -givenSpread(-bound, terms);
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
