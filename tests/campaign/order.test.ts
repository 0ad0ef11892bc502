// Goal: every run exactly once, costly changes as few as possible, repeats spread over time, chance only from the seed.
// Method: textbook blocked and split-plot designs; properties over random campaigns; every route of small ones by brute force.
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { orderRuns, type OrderedRun, type OrderInput } from '../../src/campaign/order';
import { changeCost, cheapestRoute, EXACT_UP_TO, routeCost, type Combination } from '../../src/campaign/route';
import { Pcg32 } from '../../src/campaign/rng';

const input = (part: Partial<OrderInput>): OrderInput => ({
  cells: [], costly: [], repeats: 1, mountings: 1, visits: 1, seed: 7, shuffle: 'blocks', baselineEvery: 0, ...part,
});
const easy = (n: number): { needs: never[] }[] => Array.from({ length: n }, () => ({ needs: [] }));
const ordinary = (runs: readonly OrderedRun[]): OrderedRun[] => runs.filter((r) => r.cell !== null);

function cheapestByTryingAll(nodes: readonly Combination[], costs: readonly number[], start: readonly (string | null)[] | null): number {
  let best = Infinity;
  const visit = (left: readonly Combination[], at: readonly (string | null)[] | null, cost: number): void => {
    if (left.length === 0) best = Math.min(best, cost);
    left.forEach((next, i) => visit(left.filter((_, j) => j !== i), next, cost + changeCost(at, next, costs)));
  };
  visit(nodes, start, 0);
  return best;
}

/** Times that condition c changes along the runs. */
function changesOf(runs: readonly OrderedRun[], c: number): number {
  return runs.filter((r, i) => i > 0 && r.under[c] !== runs[i - 1].under[c]).length;
}

/** Random campaigns: up to three costly conditions, cells that need some, all or none of them. */
const campaigns = fc.record({
  sizes: fc.array(fc.integer({ min: 1, max: 3 }), { maxLength: 3 }),
  perCombination: fc.integer({ min: 1, max: 4 }), repeats: fc.integer({ min: 1, max: 5 }), mountings: fc.integer({ min: 1, max: 3 }),
  keep: fc.nat(), seed: fc.nat(), visits: fc.integer({ min: 1, max: 5 }), indifferent: fc.boolean(),
}).map(({ sizes, perCombination, repeats, mountings, keep, seed, visits, indifferent }) => {
  let rows: string[][] = [[]];
  for (const size of sizes) rows = rows.flatMap((r) => Array.from({ length: size }, (_, i) => [...r, `v${i}`]));
  const chance = new Pcg32(keep);
  const kept = rows.filter((_, i) => i === 0 || chance.below(4) > 0);
  const cells = kept.flatMap((needs) => Array.from({ length: perCombination }, () => ({
    needs: needs.map((n) => (indifferent && chance.below(5) === 0 ? null : n)),
  })));
  return input({ cells, costly: sizes.map((_, i) => ({ name: `c${i}`, cost: 1 + 3 ** i })), repeats, mountings, visits: Math.min(visits, repeats), seed });
});

describe('randomised complete blocks', () => {
  test('four tips on four coupons: every block holds each treatment once, in orders of their own', () => {
    // Source: Montgomery, Design and Analysis of Experiments, section 4.1, hardness testing: four tips, each once on
    // each of four coupons (blocks), order within a coupon random (from memory).
    const runs = orderRuns(input({ cells: easy(4), repeats: 4 }));
    expect(runs).toHaveLength(16);
    const blocks = [1, 2, 3, 4].map((b) => runs.filter((r) => r.block === b).map((r) => r.cell));
    for (const block of blocks) expect([...block].sort()).toEqual([0, 1, 2, 3]);
    expect(new Set(blocks.map((b) => b.join(''))).size).toBeGreaterThan(1);
  });

  test('without costly conditions a repeat is a block, whole before the next begins', () => {
    fc.assert(fc.property(fc.integer({ min: 1, max: 20 }), fc.integer({ min: 1, max: 6 }), fc.nat(), (n, repeats, seed) => {
      const runs = orderRuns(input({ cells: easy(n), repeats, seed }));
      runs.forEach((r, i) => expect([r.block, r.repeat]).toEqual([Math.floor(i / n) + 1, Math.floor(i / n) + 1]));
      for (let b = 0; b < repeats; b++) expect(new Set(runs.slice(b * n, (b + 1) * n).map((r) => r.cell)).size).toBe(n);
    }));
  });
});

describe('split plots', () => {
  // Source: Montgomery, Design and Analysis of Experiments, section 14.4, paper tensile strength: three preparation
  // methods (hard to change, whole plots), four temperatures (subplots), three replicates: nine batches of four (from memory).
  const cells = ['p1', 'p2', 'p3'].flatMap((p) => Array.from({ length: 4 }, () => ({ needs: [p] })));
  const costly = [{ name: 'preparation', cost: 300 }];

  test('as many visits as repeats make each replicate a whole plot of its own: nine batches of four', () => {
    const runs = orderRuns(input({ cells, costly, repeats: 3, visits: 3 }));
    const batches = Array.from({ length: 9 }, (_, i) => runs.slice(4 * i, 4 * i + 4));
    for (const batch of batches) {
      expect(new Set(batch.map((r) => r.under[0])).size).toBe(1);
      expect(new Set(batch.map((r) => r.block)).size).toBe(1);
      expect(new Set(batch.map((r) => r.cell)).size).toBe(4);
    }
    for (let replicate = 0; replicate < 3; replicate++) {
      expect(batches.slice(3 * replicate, 3 * replicate + 3).map((b) => b[0].under[0]).sort()).toEqual(['p1', 'p2', 'p3']);
    }
    expect(changesOf(runs, 0)).toBe(8);
  });

  test('one visit makes the fewest changes: two for three methods, and the repeats of a cell are still apart', () => {
    const runs = orderRuns(input({ cells, costly, repeats: 3 }));
    expect(changesOf(runs, 0)).toBe(2);
    for (let i = 1; i < runs.length; i++) expect(runs[i].cell).not.toBe(runs[i - 1].cell);
  });
});

describe('every order', () => {
  test('holds each cell exactly once a repeat and mounting, under the conditions that it needs', () => {
    fc.assert(fc.property(campaigns, (c) => {
      const runs = orderRuns(c);
      expect(runs).toHaveLength(c.cells.length * c.repeats * c.mountings);
      expect(new Set(runs.map((r) => `${r.cell}/${r.repeat}/${r.mounting}`)).size).toBe(runs.length);
      for (const r of runs) {
        c.cells[r.cell ?? -1].needs.forEach((need, i) => expect([null, r.under[i]]).toContain(need));
        expect(r.repeat >= 1 && r.repeat <= c.repeats && r.mounting >= 1 && r.mounting <= c.mountings).toBe(true);
      }
    }));
  });

  test('keeps blocks, visits and mountings in one piece', () => {
    fc.assert(fc.property(campaigns, (c) => {
      const runs = orderRuns(c);
      for (let i = 1; i < runs.length; i++) {
        expect(runs[i].block - runs[i - 1].block === 0 || runs[i].block - runs[i - 1].block === 1).toBe(true);
        expect(runs[i].mounting).toBeGreaterThanOrEqual(runs[i - 1].mounting);
        if (runs[i].block === runs[i - 1].block) expect([runs[i].under, runs[i].repeat]).toEqual([runs[i - 1].under, runs[i - 1].repeat]);
      }
      // Within a mounting a combination is come to exactly `visits` times.
      const combinations = new Set(runs.map((r) => r.under.join())).size;
      const arrivals = runs.filter((r, i) => i === 0 || r.under.join() !== runs[i - 1].under.join() || r.mounting !== runs[i - 1].mounting).length;
      expect(arrivals).toBe(combinations === 1 ? c.mountings : combinations * c.visits * c.mountings);
    }));
  });

  test('never puts two runs of one cell next to each other unless it is alone under its conditions', () => {
    fc.assert(fc.property(campaigns, (c) => {
      const runs = orderRuns(c);
      const cellsUnder = new Map<string, Set<number | null>>();
      for (const r of runs) cellsUnder.set(r.under.join(), (cellsUnder.get(r.under.join()) ?? new Set()).add(r.cell));
      for (let i = 1; i < runs.length; i++) {
        if ((cellsUnder.get(runs[i].under.join())?.size ?? 0) > 1) expect(runs[i].cell).not.toBe(runs[i - 1].cell);
      }
    }));
  });

  test('spreads repeats: with one visit, block k of a combination holds repeat k of every cell before any repeat k + 1', () => {
    fc.assert(fc.property(campaigns, (c) => {
      const runs = orderRuns({ ...c, visits: 1 });
      const last = new Map<string, number>();
      for (const r of runs) {
        const key = `${r.mounting} ${r.under.join()}`;
        expect(r.repeat).toBeGreaterThanOrEqual(last.get(key) ?? 1);
        last.set(key, r.repeat);
      }
    }));
  });

  test('depends on the seed alone', () => {
    fc.assert(fc.property(campaigns, (c) => { expect(orderRuns(c)).toEqual(orderRuns(c)); }));
    const orders = [1, 2, 3, 4, 5].map((seed) => orderRuns(input({ cells: easy(10), seed })).map((r) => r.cell).join());
    expect(new Set(orders).size).toBe(5);
  });

  test('without shuffling it is the written order', () => {
    expect(orderRuns(input({ cells: easy(3), repeats: 2, shuffle: 'none' })).map((r) => r.cell)).toEqual([0, 1, 2, 0, 1, 2]);
  });

  test('refuses counts that are not whole or out of range', () => {
    for (const bad of [{ repeats: 0 }, { repeats: 1.5 }, { mountings: 0 }, { visits: 2, repeats: 1 }, { visits: 0 }, { baselineEvery: -1 }, { repeats: NaN }]) {
      expect(() => orderRuns(input({ cells: easy(2), ...bad }))).toThrow(/accepted: a whole number/);
    }
    expect(orderRuns(input({ cells: easy(2), repeats: 1, visits: 1, mountings: 1 }))).toHaveLength(2);
  });
});

describe('the cheapest route', () => {
  test('is as cheap as the best of all orders, from any start', () => {
    const rows = fc.uniqueArray(fc.tuple(fc.constantFrom('a', 'b', 'c'), fc.constantFrom('x', 'y'), fc.constantFrom('1', '2', '3')), { minLength: 1, maxLength: 7, selector: (r) => r.join() });
    const start = fc.option(fc.tuple(fc.constantFrom('a', 'b', 'c', null), fc.constantFrom('x', 'y', null), fc.constantFrom('1', null)));
    fc.assert(fc.property(rows, fc.tuple(fc.integer({ min: 1, max: 900 }), fc.integer({ min: 1, max: 900 }), fc.integer({ min: 1, max: 900 })), start, fc.nat(), (nodes, costs, from, seed) => {
      const route = cheapestRoute(nodes, costs, from, new Pcg32(seed));
      expect(route.map((r) => r.join()).sort()).toEqual(nodes.map((r) => r.join()).sort());
      expect(routeCost(from, route, costs)).toBe(cheapestByTryingAll(nodes, costs, from));
    }), { numRuns: 60 });
  });

  test('over a large crossing changes one condition at a time and the costliest the least', () => {
    for (const [na, nb, nc] of [[2, 2, 3], [4, 5, 6], [3, 20, 10], [2, 7, 1]]) {
      const nodes: Combination[] = [];
      for (let a = 0; a < na; a++) for (let b = 0; b < nb; b++) for (let c = 0; c < nc; c++) nodes.push([`${a}`, `${b}`, `${c}`]);
      expect(nodes.length).toBeGreaterThan(EXACT_UP_TO);
      const costs = [1, 100, 10_000];
      const route = cheapestRoute(nodes, costs, null, new Pcg32(3));
      // Fewest possible: the third changes nc − 1 times, the second nb − 1 times for each value of the third, and so on.
      expect(routeCost(null, route, costs)).toBe((nc - 1) * 10_000 + nc * (nb - 1) * 100 + nc * nb * (na - 1));
    }
  });

  test('begins with what is in place when that costs nothing', () => {
    const nodes: Combination[] = Array.from({ length: 24 }, (_, i) => [`${i % 4}`, `${Math.floor(i / 4)}`]);
    for (let seed = 0; seed < 20; seed++) {
      const route = cheapestRoute(nodes, [10, 1], ['2', '3'], new Pcg32(seed));
      expect(route[0]).toEqual(['2', '3']);
    }
  });

  test('leaves the choice among equals to chance', () => {
    const nodes: Combination[] = ['a', 'b', 'c', 'd'].map((v) => [v]);
    const orders = new Set(Array.from({ length: 200 }, (_, seed) => cheapestRoute(nodes, [1], null, new Pcg32(seed)).join('')));
    expect(orders.size).toBe(24);
  });
});

describe('baseline runs', () => {
  test('come first and after every n ordinary runs, in the block being run', () => {
    fc.assert(fc.property(campaigns, fc.integer({ min: 1, max: 12 }), (c, every) => {
      const runs = orderRuns({ ...c, baselineEvery: every });
      const plain = orderRuns(c);
      expect(ordinary(runs)).toEqual(plain);
      const baselines = runs.filter((r) => r.cell === null);
      expect(baselines).toHaveLength(1 + Math.floor(plain.length / every));
      expect(runs[0].cell).toBeNull();
      expect(baselines.map((b) => b.repeat)).toEqual(baselines.map((_, i) => i + 1));
      let since = 0;
      runs.forEach((r, i) => {
        if (i === 0) return;
        if (r.cell === null) {
          expect(since).toBe(every);
          expect(r.under).toEqual(runs[i - 1].under);
          since = 0;
        } else since++;
      });
    }));
  });

  test('are left out when not asked for', () => {
    expect(orderRuns(input({ cells: easy(3), repeats: 3 })).every((r) => r.cell !== null)).toBe(true);
  });
});
