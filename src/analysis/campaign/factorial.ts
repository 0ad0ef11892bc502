/** Main effects and interaction of crossed factors. */
import type { ResultMetric } from '../../model/results';
import { oneWayAnova, twoWayAnova, type Effect } from '../stats/anova';
import type { Group } from './absolute';
import type { CampaignInput } from './input';

type Factorial = NonNullable<ResultMetric['factorial']>;

/** The analysis of variance that the design allows; null for a campaign without factors. */
export function factorialOf(groups: readonly Group[], input: CampaignInput): Factorial | null {
  const { factors, settings } = input;
  if (factors.length === 0) return null;
  const rows = groups.flatMap((g) => {
    const levels = settings.find((s) => s.id === g.setting)?.levels ?? {};
    return g.used.map((value) => ({ levels, value }));
  });
  const names = factors.map((f) => f.name);
  const levels = factors.flatMap((f) => f.levels.flatMap((level) => {
    const here = rows.filter((r) => r.levels[f.name] === level).map((r) => r.value);
    return here.length === 0 ? [] : [{ factor: f.name, level, mean: here.reduce((a, b) => a + b, 0) / here.length, n: here.length }];
  }));
  const none = (reason: string): Factorial => ({ factors: names, main: [], interaction: null, error: null, levels, reason });
  if (factors.length > 2) return none(`${factors.length} factors: the table is made for one or two; see the contrasts`);
  const [a, b] = names;
  if (factors.length === 1) {
    const table = oneWayAnova(factors[0].levels.map((level) => rows.filter((r) => r.levels[a] === level).map((r) => r.value)).filter((g) => g.length > 0));
    if (!table.ok) return none(table.reason);
    return { factors: names, main: [{ factor: a, effect: effectOf(table.between) }], interaction: null, error: { dof: table.within.dof, mean_square: table.within.meanSquare }, levels, reason: null };
  }
  const table = twoWayAnova(rows.map((r) => r.levels[a] ?? ''), rows.map((r) => r.levels[b] ?? ''), rows.map((r) => r.value));
  if (!table.ok) return none(table.reason);
  return {
    factors: names, main: [{ factor: a, effect: effectOf(table.a) }, { factor: b, effect: effectOf(table.b) }],
    interaction: table.interaction === null ? null : effectOf(table.interaction), error: { dof: table.error.dof, mean_square: table.error.meanSquare }, levels, reason: table.reason,
  };
}

const effectOf = (e: Effect): { dof: number; mean_square: number; f: number | null; p: number | null } => ({ dof: e.dof, mean_square: e.meanSquare, f: e.f, p: e.p });
