// In which order runs are made: few costly changes, repeats spread over time, everything else left to seeded chance.
import { cheapestRoute, type Combination } from './route';
import { Pcg32, shuffle } from './rng';

/** A condition that is costly to change (a person's hands, a long command): runs that share it are kept together. */
export interface CostlyCondition {
  readonly name: string;
  /** What one change costs; only the proportions matter. */
  readonly cost: number;
}

/** One thing to be run `repeats` times: a protocol at a setting. `needs` follows the costly conditions; null = any value will do. */
export interface Cell {
  readonly needs: readonly (string | null)[];
}

export interface OrderInput {
  readonly cells: readonly Cell[];
  readonly costly: readonly CostlyCondition[];
  readonly repeats: number;
  /** Article put on anew this many times; each mounting gets every cell and repeat. */
  readonly mountings: number;
  /**
   * How often each combination of costly conditions is come back to within a mounting, 1 … repeats. 1 makes the fewest
   * changes; `repeats` makes every repeat a change of its own (a split-plot design with replicated whole plots).
   */
  readonly visits: number;
  readonly seed: number;
  /**
   * `blocks`: chance inside blocks of what is costly. `all`: chance all through a repeat, whatever the changes cost.
   * `none`: cells in the order they are written, for a look at one thing after the other.
   */
  readonly shuffle: 'blocks' | 'all' | 'none';
  /** A baseline run first and after every n ordinary runs; 0 = none. */
  readonly baselineEvery: number;
  /** Costly conditions in place at the start, null where unknown. */
  readonly inPlace?: readonly (string | null)[];
}

export interface OrderedRun {
  /** Index into the cells, or null for a baseline run. */
  readonly cell: number | null;
  /** Counted from 1 over the campaign within one cell (and mounting); baseline runs count on their own. */
  readonly repeat: number;
  /** From 1. */
  readonly mounting: number;
  /** Randomised block, from 1: once every cell that the costly conditions allow. */
  readonly block: number;
  /** Costly conditions during the run. */
  readonly under: Combination;
}

const ORDER_STREAM = 1;
const ROUTE_STREAM = 2;

/**
 * The order of all runs.
 * - Nothing costly: one block a repeat, each with every cell once in its own random order (randomised complete blocks).
 * - Otherwise the costly combinations are visited on the cheapest route; within a visit, each repeat is a block.
 * - Two runs of one cell are never neighbours unless the cell is alone in its visit.
 * @throws RangeError for counts that are not whole or out of range.
 */
export function orderRuns(given: OrderInput): OrderedRun[] {
  checkCounts(given);
  const input = given.shuffle === 'all' ? withoutCosts(given) : given;
  const chance = new Pcg32(input.seed, ORDER_STREAM);
  const routeChance = new Pcg32(input.seed, ROUTE_STREAM);
  const costs = input.costly.map((c) => c.cost);
  const groups = groupCells(input);
  const combinations = [...groups.values()].map((g) => g.under);
  const out: OrderedRun[] = [];
  let at: readonly (string | null)[] | null = input.inPlace ?? null;
  let block = 0;
  let lastCell = -1;
  for (let mounting = 1; mounting <= input.mountings; mounting++) {
    for (let visit = 0; visit < input.visits; visit++) {
      const route = input.shuffle !== 'none' ? routeOf(combinations, costs, at, visit > 0, routeChance) : combinations;
      for (const under of route) {
        const cells = groups.get(keyOf(under))?.cells ?? [];
        const first = Math.floor((visit * input.repeats) / input.visits) + 1;
        const last = Math.floor(((visit + 1) * input.repeats) / input.visits);
        for (let repeat = first; repeat <= last; repeat++) {
          block++;
          const order = [...cells];
          if (input.shuffle !== 'none') {
            shuffle(order, chance);
            // A block may not open with the cell that closed the one before: swap it with any later place.
            if (order.length > 1 && order[0] === lastCell) swap(order, 0, 1 + chance.below(order.length - 1));
          }
          for (const cell of order) out.push({ cell, repeat, mounting, block, under });
          lastCell = order[order.length - 1] ?? lastCell;
        }
        at = under;
      }
    }
  }
  return input.baselineEvery > 0 ? withBaselines(out, input.baselineEvery) : out;
}

function withoutCosts(input: OrderInput): OrderInput {
  return { ...input, costly: [], inPlace: [], cells: input.cells.map(() => ({ needs: [] })) };
}

/** A return visit must be a visit: it starts with another combination than the one just left, if there is another. */
function routeOf(
  combinations: readonly Combination[], costs: readonly number[], at: readonly (string | null)[] | null, again: boolean, rng: Pcg32,
): Combination[] {
  const route = cheapestRoute(combinations, costs, again ? null : at, rng);
  if (again && at !== null && route.length > 1 && keyOf(route[0]) === keyOf(at as Combination)) route.reverse();
  return route;
}

/** Cells by their combination of costly conditions; one that does not care joins the largest group that suits it. */
function groupCells(input: OrderInput): Map<string, { under: Combination; cells: number[] }> {
  const groups = new Map<string, { under: Combination; cells: number[] }>();
  const open: number[] = [];
  const put = (under: Combination, cell: number): void => {
    const group = groups.get(keyOf(under));
    if (group === undefined) groups.set(keyOf(under), { under, cells: [cell] });
    else group.cells.push(cell);
  };
  input.cells.forEach((cell, i) => {
    if (cell.needs.some((n) => n === null)) open.push(i);
    else put(cell.needs as Combination, i);
  });
  for (const i of open) {
    const needs = input.cells[i].needs;
    let best: { under: Combination; cells: number[] } | undefined;
    for (const group of groups.values()) {
      const suits = needs.every((n, c) => n === null || n === group.under[c]);
      if (suits && (best === undefined || group.cells.length > best.cells.length)) best = group;
    }
    put(best?.under ?? needs.map((n, c) => n ?? input.inPlace?.[c] ?? commonValue(input.cells, c)), i);
  }
  for (const group of groups.values()) group.cells.sort((a, b) => a - b);
  return groups;
}

function commonValue(cells: readonly Cell[], condition: number): string {
  const count = new Map<string, number>();
  for (const cell of cells) {
    const value = cell.needs[condition];
    if (value !== null) count.set(value, (count.get(value) ?? 0) + 1);
  }
  let best = '';
  for (const [value, n] of count) if (best === '' || n > (count.get(best) ?? 0)) best = value;
  return best;
}

/** The first baseline comes before everything; the next ones each follow n ordinary runs, in the block being run. */
function withBaselines(runs: readonly OrderedRun[], every: number): OrderedRun[] {
  const out: OrderedRun[] = [];
  let made = 0;
  const add = (like: OrderedRun): void => {
    made++;
    out.push({ cell: null, repeat: made, mounting: like.mounting, block: like.block, under: like.under });
  };
  runs.forEach((run, i) => {
    if (i === 0) add(run);
    out.push(run);
    if ((i + 1) % every === 0) add(run);
  });
  return out;
}

function checkCounts(input: OrderInput): void {
  const counts: [string, number, number, number][] = [
    ['repeats', input.repeats, 1, 1e6],
    ['mountings', input.mountings, 1, 1e6],
    ['visits', input.visits, 1, input.repeats],
    ['baseline_every', input.baselineEvery, 0, 1e6],
  ];
  for (const [name, value, least, most] of counts) {
    if (!Number.isInteger(value) || value < least || value > most) {
      throw new RangeError(`${name} is ${value}; accepted: a whole number from ${least} to ${most}.`);
    }
  }
}

function swap(list: number[], a: number, b: number): void {
  const kept = list[a];
  list[a] = list[b];
  list[b] = kept;
}

function keyOf(under: readonly string[]): string {
  return under.join('\u0000');
}
