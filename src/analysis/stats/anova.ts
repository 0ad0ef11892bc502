/** Analysis of variance: one-way (classical and Welch), two crossed factors with interaction, and a random-effects split. */
import { noResult, requireFinite, type NoResult, type Numbers } from './check';
import { solveLeastSquares } from './linalg';
import { fUpperP } from './quantiles';
import { mean, sumOfSquares } from './summary';

/** One row of a table; F and p are null where they do not exist. */
export type Effect = { readonly sumOfSquares: number; readonly dof: number; readonly meanSquare: number; readonly f: number | null; readonly p: number | null };

/** A one-way analysis. */
export type OneWay = {
  readonly ok: true;
  readonly between: Effect;
  readonly within: { readonly sumOfSquares: number; readonly dof: number; readonly meanSquare: number };
  readonly rSquared: number | null;
  /** Pooled standard deviation within groups. */
  readonly pooledSd: number;
};

function effect(ss: number, dof: number, errorMs: number, errorDof: number): Effect {
  const meanSquare = ss / dof;
  const f = errorDof > 0 && errorMs > 0 ? meanSquare / errorMs : null;
  return { sumOfSquares: ss, dof, meanSquare, f, p: f === null ? null : fUpperP(f, dof, errorDof) };
}

/** One-way fixed-effects analysis of variance of groups of repeats. Groups without values are refused by reason. */
export function oneWayAnova(groups: readonly Numbers[]): OneWay | NoResult {
  const problem = groupProblem(groups);
  if (problem !== null) return noResult(problem);
  const n = groups.reduce((sum, g) => sum + g.length, 0);
  const dof = n - groups.length;
  if (dof < 1) return noResult('one repeat a setting: nothing to judge the scatter by');
  const { between, within } = split(groups);
  const meanSquare = within / dof;
  const total = between + within;
  return {
    ok: true, between: effect(between, groups.length - 1, meanSquare, dof), within: { sumOfSquares: within, dof, meanSquare },
    rSquared: total > 0 ? between / total : null, pooledSd: Math.sqrt(meanSquare),
  };
}

/** Welch's test of equal means without equal variances (Biometrika 38 (1951) 330). */
export function welchAnova(groups: readonly Numbers[]): { readonly ok: true; readonly f: number; readonly dofNumerator: number; readonly dofDenominator: number; readonly p: number } | NoResult {
  const problem = groupProblem(groups);
  if (problem !== null) return noResult(problem);
  const parts = groups.map((g) => ({ n: g.length, m: mean(g), v: g.length > 1 ? sumOfSquares(g) / (g.length - 1) : 0 }));
  if (parts.some((g) => g.n < 2 || !(g.v > 0))) return noResult('every setting needs two or more repeats with some scatter');
  const k = parts.length;
  const w = parts.map((g) => g.n / g.v);
  const sumW = w.reduce((a, b) => a + b, 0);
  const centre = parts.reduce((sum, g, i) => sum + w[i] * g.m, 0) / sumW;
  const lambda = parts.reduce((sum, g, i) => sum + (1 - w[i] / sumW) ** 2 / (g.n - 1), 0);
  const numerator = parts.reduce((sum, g, i) => sum + w[i] * (g.m - centre) ** 2, 0) / (k - 1);
  const f = numerator / (1 + (2 * (k - 2) * lambda) / (k * k - 1));
  const dofDenominator = (k * k - 1) / (3 * lambda);
  return { ok: true, f, dofNumerator: k - 1, dofDenominator, p: fUpperP(f, k - 1, dofDenominator) };
}

/** Two crossed factors. `interaction` is null, with the reason, where the design cannot show one. */
export type TwoWay = {
  readonly ok: true;
  readonly a: Effect;
  readonly b: Effect;
  readonly interaction: Effect | null;
  readonly error: { readonly sumOfSquares: number; readonly dof: number; readonly meanSquare: number };
  readonly reason: string | null;
};

/**
 * Factorial analysis of two crossed factors by least squares with sum-to-zero coding. Each effect is what leaving it out
 * costs ("Type III"), so with unequal cell counts the hypotheses stay about unweighted cell means; balanced data give the
 * textbook table. With an empty cell or without replicates the interaction cannot be told from scatter: the additive model is
 * used and the reason given.
 * @param levelA,levelB level name of each observation
 * @param y the observations
 */
export function twoWayAnova(levelA: readonly string[], levelB: readonly string[], y: Numbers): TwoWay | NoResult {
  if (levelA.length !== y.length || levelB.length !== y.length) throw new RangeError(`levels and values differ in number: ${levelA.length}, ${levelB.length}, ${y.length}`);
  requireFinite(y, 'y');
  const as = [...new Set(levelA)];
  const bs = [...new Set(levelB)];
  if (as.length < 2 || bs.length < 2) return noResult(`two crossed factors need two or more levels each, got ${as.length} and ${bs.length}`);
  const cells = new Set(levelA.map((a, i) => `${as.indexOf(a)}/${bs.indexOf(levelB[i])}`)).size;
  const crossed = as.length * bs.length;
  const reason = cells < crossed ? `${crossed - cells} of ${crossed} cells are empty, so no interaction can be estimated`
    : y.length === crossed ? 'one run a cell: interaction and scatter cannot be told apart' : null;
  const withInteraction = reason === null;

  const rows = levelA.map((a, i) => {
    const ca = contrast(as.indexOf(a), as.length);
    const cb = contrast(bs.indexOf(levelB[i]), bs.length);
    return { a: ca, b: cb, ab: withInteraction ? ca.flatMap((u) => cb.map((v) => u * v)) : [] };
  });
  const rssWith = (pick: (r: (typeof rows)[number]) => number[]): number | null => solveLeastSquares(rows.map((r) => [1, ...pick(r)]), y)?.rss ?? null;
  const full = rssWith((r) => [...r.a, ...r.b, ...r.ab]);
  const withoutA = rssWith((r) => [...r.b, ...r.ab]);
  const withoutB = rssWith((r) => [...r.a, ...r.ab]);
  const additive = rssWith((r) => [...r.a, ...r.b]);
  if (full === null || withoutA === null || withoutB === null || additive === null) return noResult('the runs do not cross the two factors, so their effects cannot be separated');
  const dofA = as.length - 1;
  const dofB = bs.length - 1;
  const dof = y.length - 1 - dofA - dofB - (withInteraction ? dofA * dofB : 0);
  if (dof < 1) return noResult('no degree of freedom is left to judge the scatter by');
  const meanSquare = full / dof;
  const of = (without: number, effectDof: number): Effect => effect(Math.max(0, without - full), effectDof, meanSquare, dof);
  return {
    ok: true, a: of(withoutA, dofA), b: of(withoutB, dofB), interaction: withInteraction ? of(additive, dofA * dofB) : null,
    error: { sumOfSquares: full, dof, meanSquare }, reason,
  };
}

/** Any number of crossed factors: main effects and the interactions of pairs. */
export type Factorial = {
  readonly ok: true;
  readonly main: readonly Effect[];
  /** Every pair in order (1st with 2nd, 1st with 3rd, …); empty, with the reason, where the design cannot show them. */
  readonly pairs: readonly { readonly of: readonly [number, number]; readonly effect: Effect }[];
  readonly error: { readonly sumOfSquares: number; readonly dof: number; readonly meanSquare: number };
  readonly reason: string | null;
};

/**
 * Factorial analysis by least squares with sum-to-zero coding, each effect being what leaving it out costs ("Type III").
 * Interactions of three and more factors are not in the model: they are part of the scatter.
 * @param levels for each factor the level of each observation
 * @param covariates numbers that go along with each observation, e.g. its place in the order: their effect is estimated together
 * with the others', so that its uncertainty is in every test (analysis of covariance)
 */
export function factorialAnova(levels: readonly (readonly string[])[], y: Numbers, covariates: readonly Numbers[] = []): Factorial | NoResult {
  requireFinite(y, 'y');
  const names = levels.map((l) => [...new Set(l)]);
  const poor = names.findIndex((n) => n.length < 2);
  if (levels.length === 0 || poor >= 0) return noResult(`crossed factors need two or more levels each, got ${names.map((n) => n.length).join(', ')}`);
  const coded = levels.map((l, f) => l.map((level) => contrast(names[f].indexOf(level), names[f].length)));
  const carried = Array.from({ length: y.length }, (_, i) => [1, ...covariates.map((c) => c[i])]);
  const pairsOf = levels.flatMap((_, a) => levels.slice(a + 1).map((_l, k) => [a, a + 1 + k] as const));
  const crossed = (a: number, b: number): number[][] => coded[a].map((u, i) => u.flatMap((p) => coded[b][i].map((q) => p * q)));
  const rssOf = (blocks: readonly (readonly number[][])[]): number | null =>
    solveLeastSquares(carried.map((c, i) => [...c, ...blocks.flatMap((b) => b[i])]), y)?.rss ?? null;
  const interactions = pairsOf.map(([a, b]) => crossed(a, b));
  const width = (blocks: readonly (readonly number[][])[]): number => 1 + covariates.length + blocks.reduce((n, b) => n + b[0].length, 0);
  const all = [...coded, ...interactions];
  const whole = y.length > width(all) ? rssOf(all) : null;
  const reason = pairsOf.length === 0 || whole !== null ? null : 'the runs do not tell interactions from scatter: cells are empty or have one run';
  const blocks = whole === null ? coded : all;
  const full = whole ?? rssOf(coded);
  const dof = y.length - width(blocks);
  if (full === null) return noResult('the runs do not cross the factors, so their effects cannot be separated');
  if (dof < 1) return noResult('no degree of freedom is left to judge the scatter by');
  const meanSquare = full / dof;
  const without = (k: number): Effect => effect(Math.max(0, (rssOf(blocks.filter((_, i) => i !== k)) ?? full) - full), blocks[k][0].length, meanSquare, dof);
  return {
    ok: true, main: coded.map((_, k) => without(k)), pairs: whole === null ? [] : pairsOf.map((of, k) => ({ of, effect: without(coded.length + k) })),
    error: { sumOfSquares: full, dof, meanSquare }, reason,
  };
}

/** Variance between and within groups, e.g. re-mounts, and the mean over groups. */
export type RandomEffects = {
  readonly ok: true;
  readonly withinSd: number;
  readonly withinDof: number;
  /** Standard deviation between groups, beyond what repeats explain; 0 when the estimate came out negative (flagged). */
  readonly betweenSd: number;
  readonly betweenDof: number;
  /** Unweighted mean of the group means, with its standard uncertainty and degrees of freedom (groups − 1). */
  readonly mean: number;
  readonly u: number;
  readonly dof: number;
  readonly flags: readonly string[];
};

/**
 * One-way random-effects split by the analysis-of-variance estimators (GUM H.5; unequal sizes by Searle's n₀):
 * within = MSW, between² = (MSB − MSW)/n₀. The mean over groups takes its uncertainty from the spread of the group means,
 * so it holds "averaged over re-mounts" whatever the split says.
 */
export function randomEffects(groups: readonly Numbers[]): RandomEffects | NoResult {
  const table = oneWayAnova(groups);
  if (!table.ok) return table;
  const sizes = groups.map((g) => g.length);
  const n = sizes.reduce((a, b) => a + b, 0);
  const k = groups.length;
  const n0 = (n - sizes.reduce((a, b) => a + b * b, 0) / n) / (k - 1);
  const between = (table.between.meanSquare - table.within.meanSquare) / n0;
  const means = groups.map((g) => mean(g));
  return {
    ok: true, withinSd: table.pooledSd, withinDof: table.within.dof, betweenSd: Math.sqrt(Math.max(0, between)), betweenDof: k - 1,
    mean: mean(means), u: Math.sqrt(sumOfSquares(means) / (k - 1) / k), dof: k - 1,
    flags: between < 0 ? ['the variance between groups came out negative and is taken as 0'] : [],
  };
}

function split(groups: readonly Numbers[]): { between: number; within: number } {
  let n = 0;
  let weighted = 0;
  const shift = mean(groups[0]); // keeps leading digits that all values share out of the sums
  const means = groups.map((g) => mean(g) - shift);
  groups.forEach((g, i) => { n += g.length; weighted += g.length * means[i]; });
  const grand = weighted / n;
  return {
    between: groups.reduce((sum, g, i) => sum + g.length * (means[i] - grand) ** 2, 0),
    within: groups.reduce((sum, g) => sum + sumOfSquares(g), 0),
  };
}

function groupProblem(groups: readonly Numbers[]): string | null {
  groups.forEach((g, i) => { requireFinite(g, `group ${i}`); });
  if (groups.length < 2) return `a comparison needs two or more settings, got ${groups.length}`;
  const empty = groups.findIndex((g) => g.length === 0);
  return empty >= 0 ? `setting ${empty} has no usable repeats` : null;
}

/** Sum-to-zero coding of a level. */
const contrast = (level: number, levels: number): number[] =>
  Array.from({ length: levels - 1 }, (_, k) => (level === levels - 1 ? -1 : level === k ? 1 : 0));
