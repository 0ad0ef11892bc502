/** Adjusted p values for several tests at once. Order is kept; an adjusted p is compared with the plain level. */
import type { Numbers } from './check';

function byRank(p: Numbers): { values: number[]; order: number[] } {
  const values = Array.from(p);
  values.forEach((v, i) => {
    if (!(v >= 0 && v <= 1)) throw new RangeError(`p[${i}] is ${v}; it must lie in 0..1`);
  });
  return { values, order: values.map((_, i) => i).sort((a, b) => values[a] - values[b]) };
}

/** Bonferroni: m·p. */
export const bonferroni = (p: Numbers): number[] => byRank(p).values.map((v) => Math.min(1, v * p.length));

/** Holm's step-down procedure (Scandinavian Journal of Statistics 6 (1979) 65): family-wise, under any dependence. */
export function holm(p: Numbers): number[] {
  const { values, order } = byRank(p);
  const adjusted = new Array<number>(values.length);
  let running = 0;
  order.forEach((index, rank) => {
    running = Math.max(running, (values.length - rank) * values[index]);
    adjusted[index] = Math.min(1, running);
  });
  return adjusted;
}

/** Hochberg's step-up procedure (Biometrika 75 (1988) 800): family-wise for independent or positively dependent tests. */
export function hochberg(p: Numbers): number[] {
  return stepUp(p, (rank, count) => count - rank);
}

/** Benjamini–Hochberg: false discovery rate (J. Royal Statistical Society B 57 (1995) 289). */
export function benjaminiHochberg(p: Numbers): number[] {
  return stepUp(p, (rank, count) => count / (rank + 1));
}

function stepUp(p: Numbers, factor: (rank: number, count: number) => number): number[] {
  const { values, order } = byRank(p);
  const adjusted = new Array<number>(values.length);
  let running = 1;
  for (let rank = values.length - 1; rank >= 0; rank--) {
    running = Math.min(running, factor(rank, values.length) * values[order[rank]]);
    adjusted[order[rank]] = running;
  }
  return adjusted;
}
