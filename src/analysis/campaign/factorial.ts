/** Main effects and interactions of crossed factors. */
import type { ResultMetric } from '../../model/results';
import { factorialAnova, oneWayAnova, type Effect } from '../stats/anova';
import type { Group } from './absolute';
import type { Drifting } from './drift';
import type { CampaignInput } from './input';

type Factorial = NonNullable<ResultMetric['factorial']>;
type Row = { readonly levels: Readonly<Record<string, string>>; readonly value: number; readonly drift: number; readonly index: number };

/** Without scatter there is no F. */
const NO_SCATTER = 'the repeats do not scatter at all, so there is nothing to judge the effects by';

/**
 * The analysis of variance that the design allows; null for a campaign without factors. Where drift was taken out, the table is
 * that of the values as measured with the place in the order as a covariate: what the drift costs in certainty is then in every test.
 */
export function factorialOf(groups: readonly Group[], input: CampaignInput, drift: Pick<Drifting, 'result' | 'remove'>): Factorial | null {
  const { factors, settings } = input;
  if (factors.length === 0) return null;
  const rows = groups.flatMap((g) => {
    const levels = settings.find((s) => s.id === g.setting)?.levels ?? {};
    return g.used.map((value, i): Row => ({ levels, value, drift: g.repeats[i] === undefined ? 0 : g.repeats[i].value - drift.remove(g.repeats[i]), index: g.repeats[i]?.index ?? 0 }));
  });
  const names = factors.map((f) => f.name);
  const levels = factors.flatMap((f) => f.levels.flatMap((level) => {
    const here = rows.filter((r) => r.levels[f.name] === level).map((r) => r.value);
    return here.length === 0 ? [] : [{ factor: f.name, level, mean: here.reduce((a, b) => a + b, 0) / here.length, n: here.length }];
  }));
  const none = (reason: string): Factorial => ({ factors: names, main: [], interaction: null, error: null, levels, reason });
  if (factors.length === 1 && !drift.result.removed) {
    const table = oneWayAnova(factors[0].levels.map((level) => rows.filter((r) => r.levels[names[0]] === level).map((r) => r.value)).filter((g) => g.length > 0));
    if (!table.ok) return none(table.reason);
    return { factors: names, main: [{ factor: names[0], effect: effectOf(table.between) }], interaction: null, error: { dof: table.within.dof, mean_square: table.within.meanSquare }, levels, reason: table.within.meanSquare > 0 ? null : NO_SCATTER };
  }
  if (rows.length === 0) return none('no usable repeats');
  const table = factorialAnova(
    names.map((n) => rows.map((r) => r.levels[n] ?? '')), rows.map((r) => (drift.result.removed ? r.value + r.drift : r.value)),
    drift.result.removed ? [rows.map((r) => r.index)] : [],
  );
  if (!table.ok) return none(table.reason);
  return {
    factors: names, main: table.main.map((effect, i) => ({ factor: names[i], effect: effectOf(effect) })),
    interaction: names.length === 2 && table.pairs.length === 1 ? effectOf(table.pairs[0].effect) : null,
    ...(names.length > 2 ? { interactions: table.pairs.map(({ of: [a, b], effect }) => ({ factors: [names[a], names[b]], effect: effectOf(effect) })) } : {}),
    error: { dof: table.error.dof, mean_square: table.error.meanSquare }, levels, reason: table.reason ?? (table.error.meanSquare > 0 ? null : NO_SCATTER),
  };
}

const effectOf = (e: Effect): { dof: number; mean_square: number; f: number | null; p: number | null } => ({ dof: e.dof, mean_square: e.meanSquare, f: e.f, p: e.p });
