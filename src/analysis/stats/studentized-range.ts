/**
 * The studentized range: range of k independent standard normal values over an independent s = χ_ν/√ν. Its distribution is
 *   P(Q ≤ q) = ∫ f_ν(s) W(q s) ds,   W(w) = k ∫ φ(z) [Φ(z) − Φ(z − w)]^(k−1) dz
 * (Harter, Annals of Mathematical Statistics 31 (1960) 1122). Both integrals are taken by the trapezoid rule.
 */
import normalCdf from '@stdlib/stats-base-dists-normal-cdf';
import { rootOf } from './root';
import { overSpread } from './spread';

/** Beyond this a range of normal values has no chance that double precision can show. */
const WIDEST = 20;
/** Steps of the table a unit of w, and how many of them a step of the inner integral takes. */
const PER_UNIT = 32;
const INNER = 4;
/** Half-width of the inner integral over z. */
const Z_RANGE = 9;

/** 1 − W and its slope on a grid of w. */
type RangeTable = { readonly upper: Float64Array; readonly slope: Float64Array };
const tables = new Map<number, RangeTable>();

function tableOf(groups: number): RangeTable {
  const known = tables.get(groups);
  if (known !== undefined) return known;
  const n = WIDEST * PER_UNIT;
  const first = Z_RANGE * PER_UNIT;
  // Every z and z − w lies on one grid, so the normal distribution is computed once for each point.
  const cdf = Float64Array.from({ length: 2 * first + n + 1 }, (_, i) => normalCdf((i - first - n) / PER_UNIT, 0, 1));
  const density = (i: number): number => Math.exp(-0.5 * (i / PER_UNIT) ** 2) / Math.sqrt(2 * Math.PI);
  const upper = new Float64Array(n + 1);
  const slope = new Float64Array(n + 1);
  const step = INNER / PER_UNIT;
  for (let j = 0; j <= n; j++) {
    let inside = 0;
    let change = 0;
    for (let i = -first; i <= first; i += INNER) {
      const at = i + first + n;
      const between = cdf[at] - cdf[at - j];
      const power = between ** (groups - 2);
      const phi = density(i);
      inside += phi * power * between;
      change += phi * density(i - j) * power;
    }
    upper[j] = 1 - groups * step * inside;
    slope[j] = -groups * (groups - 1) * step * change;
  }
  if (tables.size > 200) tables.clear();
  const table = { upper, slope };
  tables.set(groups, table);
  return table;
}

/** 1 − W(w) by cubic pieces that meet the table's values and slopes. */
function rangeUpper({ upper, slope }: RangeTable, w: number): number {
  const x = w * PER_UNIT;
  const i = Math.floor(x);
  if (i >= upper.length - 1) return 0;
  const t = x - i;
  const r = 1 - t;
  const h = 1 / PER_UNIT;
  return r * r * ((1 + 2 * t) * upper[i] + t * h * slope[i]) + t * t * ((1 + 2 * r) * upper[i + 1] - r * h * slope[i + 1]);
}

/** Probability of a studentized range of at least q, to about 1e-9. */
export function rangeUpperP(q: number, groups: number, dof: number): number {
  const table = tableOf(groups);
  const p = overSpread(dof, (s) => rangeUpper(table, q * s));
  return Math.min(1, Math.max(0, p));
}

/** The q that is reached or passed with probability 1 − p. */
export function rangeQuantile(p: number, groups: number, dof: number): number {
  return rootOf((q) => 1 - p - rangeUpperP(q, groups, dof), 1, 8);
}
