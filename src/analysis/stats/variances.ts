/** Pooling spreads, and the tests of whether that is allowed. */
import { noResult, requireFinite, type NoResult, type Numbers } from './check';
import { oneWayAnova } from './anova';
import { chi2UpperP } from './quantiles';
import { median, sumOfSquares } from './summary';

/** A spread pooled over settings: √(Σ SS / Σ(n−1)). Settings with one repeat add nothing. */
export function pooledSd(groups: readonly Numbers[]): { readonly ok: true; readonly sd: number; readonly dof: number } | NoResult {
  let ss = 0;
  let dof = 0;
  groups.forEach((g, i) => {
    requireFinite(g, `group ${i}`);
    if (g.length < 2) return;
    ss += sumOfSquares(g);
    dof += g.length - 1;
  });
  return dof < 1 ? noResult('no setting has two or more repeats') : { ok: true, sd: Math.sqrt(ss / dof), dof };
}

/** A test of equal variances. */
export type VarianceTest = { readonly ok: true; readonly statistic: number; readonly p: number };

/** Bartlett's test (Proc. Royal Society A 160 (1937) 268): sharp for normal data, misled by long tails. */
export function bartlett(groups: readonly Numbers[]): VarianceTest | NoResult {
  const parts = groups.map((g) => ({ dof: g.length - 1, variance: g.length < 2 ? 0 : sumOfSquares(g) / (g.length - 1) }));
  if (parts.length < 2) return noResult('two or more settings are needed');
  if (parts.some((g) => g.dof < 1 || !(g.variance > 0))) return noResult('every setting needs two or more repeats with some scatter');
  const dof = parts.reduce((sum, g) => sum + g.dof, 0);
  const pooled = parts.reduce((sum, g) => sum + g.dof * g.variance, 0) / dof;
  const k = parts.length;
  const top = dof * Math.log(pooled) - parts.reduce((sum, g) => sum + g.dof * Math.log(g.variance), 0);
  const bottom = 1 + (parts.reduce((sum, g) => sum + 1 / g.dof, 0) - 1 / dof) / (3 * (k - 1));
  const statistic = Math.max(0, top / bottom);
  return { ok: true, statistic, p: chi2UpperP(statistic, k - 1) };
}

/** Brown–Forsythe form of Levene's test (J. American Statistical Association 69 (1974) 364): deviations from the median. */
export function brownForsythe(groups: readonly Numbers[]): VarianceTest | NoResult {
  if (groups.some((g) => g.length < 3)) return noResult('every setting needs three or more repeats');
  const table = oneWayAnova(groups.map((g) => { const m = median(g) ?? 0; return Array.from(g, (v) => Math.abs(v - m)); }));
  if (!table.ok) return table;
  if (table.between.f === null || table.between.p === null) return noResult('the deviations have no scatter');
  return { ok: true, statistic: table.between.f, p: table.between.p };
}

/** p in words: `< 0.001`, `= 0.034`. */
const pText = (p: number): string => (p < 0.001 ? '< 0.001' : `= ${p.toPrecision(2)}`);

/**
 * Whether one pooled spread may stand for all settings: not when Bartlett's test finds them unequal at `level`
 * (default 1 %, so that a dozen settings are not split by chance), nor when it cannot be run.
 */
export function mayPool(groups: readonly Numbers[], level = 0.01): { readonly pool: boolean; readonly reason: string } {
  const test = bartlett(groups);
  if (!test.ok) return { pool: false, reason: test.reason };
  return test.p < level
    ? { pool: false, reason: `the settings scatter differently (Bartlett’s test, p ${pText(test.p)})` }
    : { pool: true, reason: `no sign of different scatter (Bartlett’s test, p ${pText(test.p)})` };
}
