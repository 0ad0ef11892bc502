// The cheapest way to visit every combination of costly conditions once.
import { shuffle, type Pcg32 } from './rng';

/** One value for each costly condition, in the order of the conditions. */
export type Combination = readonly string[];

/** Largest number of combinations whose order is found exactly. */
export const EXACT_UP_TO = 9;
const IMPROVED_UP_TO = 120;

/** What it costs to go from one combination to another: the sum over the conditions that differ. `from` null costs nothing. */
export function changeCost(from: readonly (string | null)[] | null, to: Combination, costs: readonly number[]): number {
  if (from === null) return 0;
  let sum = 0;
  for (let i = 0; i < to.length; i++) if (from[i] !== null && from[i] !== to[i]) sum += costs[i];
  return sum;
}

/** Total cost of a route from `start` on. */
export function routeCost(start: readonly (string | null)[] | null, route: readonly Combination[], costs: readonly number[]): number {
  let sum = 0;
  let at = start;
  for (const next of route) {
    sum += changeCost(at, next, costs);
    at = next;
  }
  return sum;
}

/**
 * An order of the combinations with the least total cost, chosen by chance among many such. Exact up to nine
 * combinations (Held and Karp, J. SIAM 10(1), 1962). Beyond, a reflected order in which the costliest condition changes
 * least (a Gray code: exact for crossed conditions), improved by turning stretches around where that saves something.
 * `start` is what is in place now, null where unknown.
 */
export function cheapestRoute(
  combinations: readonly Combination[], costs: readonly number[], start: readonly (string | null)[] | null, rng: Pcg32,
): Combination[] {
  const nodes = shuffle([...combinations], rng);
  if (nodes.length <= 1) return nodes;
  if (nodes.length <= EXACT_UP_TO) return heldKarp(nodes, costs, start);
  const reflected = reflectedOrder(nodes, costs, start, rng);
  return nodes.length <= IMPROVED_UP_TO ? turnStretches(reflected, costs, start) : reflected;
}

function heldKarp(nodes: readonly Combination[], costs: readonly number[], start: readonly (string | null)[] | null): Combination[] {
  const n = nodes.length;
  const full = 1 << n;
  const best = new Float64Array(full * n).fill(Infinity);
  const from = new Int8Array(full * n).fill(-1);
  const step = nodes.map((a) => nodes.map((b) => changeCost(a, b, costs)));
  for (let i = 0; i < n; i++) best[(1 << i) * n + i] = changeCost(start, nodes[i], costs);
  for (let set = 1; set < full; set++) {
    for (let last = 0; last < n; last++) {
      const so_far = best[set * n + last];
      if (so_far === Infinity) continue;
      for (let next = 0; next < n; next++) {
        if (set & (1 << next)) continue;
        const to = (set | (1 << next)) * n + next;
        if (so_far + step[last][next] < best[to]) {
          best[to] = so_far + step[last][next];
          from[to] = last;
        }
      }
    }
  }
  let set = full - 1;
  let last = 0;
  for (let i = 1; i < n; i++) if (best[set * n + i] < best[set * n + last]) last = i;
  const route: Combination[] = [];
  while (last >= 0) {
    route.push(nodes[last]);
    const before = from[set * n + last];
    set &= ~(1 << last);
    last = before;
  }
  return route.reverse();
}

/** Costliest condition outermost; each inner order runs forth and back so that only the outer one changes between. */
function reflectedOrder(
  nodes: readonly Combination[], costs: readonly number[], start: readonly (string | null)[] | null, rng: Pcg32,
): Combination[] {
  const columns = costs.map((_, i) => i).sort((a, b) => costs[b] - costs[a] || a - b);
  const rank = columns.map((column) => {
    const values = shuffle([...new Set(nodes.map((node) => node[column]))], rng);
    const present = start?.[column];
    if (typeof present === 'string') values.sort((a, b) => Number(b === present) - Number(a === present));
    return new Map(values.map((value, i) => [value, i]));
  });
  const ranks = (node: Combination): number[] => columns.map((column, i) => rank[i].get(node[column]) ?? 0);
  const forth = columns.map(() => true);
  const visit = (group: { node: Combination; ranks: number[] }[], depth: number): Combination[] => {
    if (depth === columns.length) return group.map((g) => g.node);
    const byRank = new Map<number, { node: Combination; ranks: number[] }[]>();
    for (const g of group) {
      const list = byRank.get(g.ranks[depth]) ?? [];
      list.push(g);
      byRank.set(g.ranks[depth], list);
    }
    const onward = forth[depth];
    forth[depth] = !onward;
    const keys = [...byRank.keys()].sort((a, b) => (onward ? a - b : b - a));
    return keys.flatMap((key) => visit(byRank.get(key) ?? [], depth + 1));
  };
  return visit(nodes.map((node) => ({ node, ranks: ranks(node) })), 0);
}

/** Turns a stretch around wherever that lowers the cost, until nothing helps (2-opt on an open path). */
function turnStretches(route: Combination[], costs: readonly number[], start: readonly (string | null)[] | null): Combination[] {
  const cost = (a: readonly (string | null)[] | null, b: Combination | undefined): number => (b === undefined ? 0 : changeCost(a, b, costs));
  for (let round = 0; round < 20; round++) {
    let better = false;
    for (let i = 0; i < route.length - 1; i++) {
      const before = i === 0 ? start : route[i - 1];
      for (let j = i + 1; j < route.length; j++) {
        const now = cost(before, route[i]) + cost(route[j], route[j + 1]);
        const turned = cost(before, route[j]) + cost(route[i], route[j + 1]);
        if (turned < now - 1e-9) {
          route.splice(i, j - i + 1, ...route.slice(i, j + 1).reverse());
          better = true;
        }
      }
    }
    if (!better) break;
  }
  return route;
}
