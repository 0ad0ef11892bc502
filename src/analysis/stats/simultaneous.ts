/** Comparisons of many settings at once: intervals that all hold together with the stated confidence. */
import { noResult, type NoResult, type Numbers } from './check';
import { pooledT, welch, type Difference } from './compare';
import { dunnettCdf, dunnettQuantile } from './dunnett';
import { around } from './interval';
import { bonferroni, holm } from './multiplicity';
import { coverageFactor, studentizedRangeQuantile, studentizedRangeUpperP } from './quantiles';
import { mayPool, pooledSd } from './variances';

/** Setting `b` against setting `a` (indices into the groups); `p` is adjusted, `interval` simultaneous. */
export type Comparison = { readonly a: number; readonly b: number; readonly result: Difference | NoResult };

type Judge = (d: Difference) => { p: number; factor: number; method: string };

/** A difference with its plain p and interval replaced by the simultaneous ones. */
function adjust(d: Difference | NoResult, confidence: number, judge: Judge): Difference | NoResult {
  if (!d.ok) return d;
  const { p, factor, method } = judge(d);
  return { ...d, p, interval: around(d.difference, factor * d.u, confidence), method };
}

function pairs(count: number): [number, number][] {
  const all: [number, number][] = [];
  for (let a = 0; a < count; a++) for (let b = a + 1; b < count; b++) all.push([a, b]);
  return all;
}

/**
 * All pairs, one pooled spread (Tukey; Kramer, Biometrics 12 (1956) 307, for unequal numbers of repeats).
 * A setting with one repeat can be compared; an empty one gets the reason.
 */
export function tukeyKramer(groups: readonly Numbers[], confidence = 0.95): Comparison[] {
  const pooled = pooledSd(groups);
  const count = groups.filter((g) => g.length > 0).length;
  return pairs(groups.length).map(([a, b]) => {
    if (!pooled.ok) return { a, b, result: pooled };
    const plain = pooledT(groups[a], groups[b], confidence, pooled);
    if (count > 2 && pooled.dof < 2) return { a, b, result: noResult('the pooled spread has one degree of freedom; add repeats') };
    return { a, b, result: adjust(plain, confidence, (d) => ({ ...rangeJudge(d, count, pooled.dof, confidence), method: 'Tukey–Kramer' })) };
  });
}

/** All pairs without equal spreads (Games & Howell, J. Educational Statistics 1 (1976) 113). Needs two repeats a setting. */
export function gamesHowell(groups: readonly Numbers[], confidence = 0.95): Comparison[] {
  const count = groups.filter((g) => g.length > 0).length;
  const all = pairs(groups.length);
  return all.map(([a, b]) => ({
    a, b,
    result: adjust(welch(groups[a], groups[b], confidence), confidence, (d) =>
      count > 2 && d.dof < 2 // the studentized range is not tabulated there; Bonferroni is wider but valid
        ? { p: Math.min(1, (d.p ?? 1) * all.length), factor: coverageFactor(1 - (1 - confidence) / all.length, d.dof), method: 'Welch, Bonferroni' }
        : { ...rangeJudge(d, count, d.dof, confidence), method: 'Games–Howell' }),
  }));
}

function rangeJudge(d: Difference, count: number, dof: number, confidence: number): { p: number; factor: number } {
  if (count <= 2) return { p: d.p ?? 1, factor: coverageFactor(confidence, dof) }; // q(2, ν) = √2·t(ν)
  return {
    p: studentizedRangeUpperP(Math.SQRT2 * Math.abs(d.t ?? 0), count, dof),
    factor: studentizedRangeQuantile(confidence, count, dof) / Math.SQRT2,
  };
}

/** All pairs by the method that the data allow: Tukey–Kramer where the spreads may be pooled, else Games–Howell. */
export function allPairs(groups: readonly Numbers[], confidence = 0.95): { readonly comparisons: Comparison[]; readonly why: string } {
  const { pool, reason } = poolingOf(groups);
  return { comparisons: pool ? tukeyKramer(groups, confidence) : gamesHowell(groups, confidence), why: reason };
}

/** Every setting against one baseline with one pooled spread: Dunnett's intervals and adjusted p values, exact for any sizes. */
export function dunnett(groups: readonly Numbers[], baseline: number, confidence = 0.95, lost = 0): Comparison[] {
  checkBaseline(groups, baseline);
  const pooled = lessLost(pooledSd(groups), lost);
  const others = groups.map((_, i) => i).filter((i) => i !== baseline);
  const sizes = others.map((i) => groups[i].length).filter((n) => n > 0);
  const n0 = groups[baseline].length;
  return others.map((b) => {
    if (!pooled.ok) return { a: baseline, b, result: pooled };
    const plain = pooledT(groups[baseline], groups[b], confidence, pooled);
    return {
      a: baseline, b,
      result: adjust(plain, confidence, (d) => ({
        p: 1 - dunnettCdf(Math.abs(d.t ?? 0), sizes, n0, pooled.dof),
        factor: dunnettQuantile(confidence, sizes, n0, pooled.dof), method: 'Dunnett',
      })),
    };
  });
}

/** Every setting against one baseline without equal spreads: Welch, Bonferroni intervals, Holm p values. */
export function baselineWelch(groups: readonly Numbers[], baseline: number, confidence = 0.95): Comparison[] {
  checkBaseline(groups, baseline);
  const plain = groups.map((g, b) => ({ b, d: welch(groups[baseline], g, confidence) })).filter(({ b }) => b !== baseline);
  const usable = plain.flatMap(({ d }) => (d.ok ? [d.p ?? 1] : []));
  const adjusted = holm(usable);
  let next = 0;
  return plain.map(({ b, d }) => ({
    a: baseline, b,
    result: adjust(d, confidence, ({ dof }) => ({
      p: adjusted[next++], factor: coverageFactor(1 - (1 - confidence) / usable.length, dof), method: 'Welch, Bonferroni intervals, Holm p',
    })),
  }));
}

/** A pooled spread with degrees of freedom given up to effects that were estimated from the same values and taken out. */
function lessLost(pooled: ReturnType<typeof pooledSd>, lost: number): ReturnType<typeof pooledSd> {
  if (!pooled.ok || lost === 0) return pooled;
  const dof = pooled.dof - lost;
  return dof < 1 ? noResult('no degree of freedom is left to judge the scatter by') : { ok: true, sd: pooled.sd * Math.sqrt(pooled.dof / dof), dof };
}

/**
 * Against a baseline by the method that the data allow.
 * @param lost degrees of freedom that the values have lost to effects taken out of them, e.g. mountings less one: with any, spreads are pooled,
 * as the values of one setting alone no longer show their own
 */
export function againstBaseline(groups: readonly Numbers[], baseline: number, confidence = 0.95, lost = 0): { readonly comparisons: Comparison[]; readonly why: string } {
  const { pool, reason } = poolingOf(groups);
  return { comparisons: pool || lost > 0 ? dunnett(groups, baseline, confidence, lost) : baselineWelch(groups, baseline, confidence), why: reason };
}

/** Bonferroni-adjusted intervals and p values for any chosen set of differences. */
export function chosen(differences: readonly Difference[], confidence = 0.95): Difference[] {
  const p = bonferroni(differences.map((d) => d.p ?? 1));
  return differences.map((d, i) => ({
    ...d, p: p[i], method: `${d.method}, Bonferroni`,
    interval: around(d.difference, coverageFactor(1 - (1 - confidence) / differences.length, d.dof) * d.u, confidence),
  }));
}

/** Settings with one repeat can only borrow the others' spread, so they do not veto pooling. */
function poolingOf(groups: readonly Numbers[]): { pool: boolean; reason: string } {
  const repeated = groups.filter((g) => g.length > 1);
  if (repeated.length === 1) return { pool: true, reason: 'one setting alone has repeats; its scatter stands for all' };
  const answer = mayPool(repeated);
  const single = groups.some((g) => g.length === 1);
  return single && answer.pool ? { pool: true, reason: `${answer.reason}; settings with one repeat borrow it` } : answer;
}

function checkBaseline(groups: readonly Numbers[], baseline: number): void {
  if (!(Number.isInteger(baseline) && baseline >= 0 && baseline < groups.length)) throw new RangeError(`baseline ${baseline} is not one of ${groups.length} settings`);
}
