// Goal: success rates of starts are tallied and compared as proportions.
// Method: published worked examples, then made-up spin-up campaigns on both sides of a verdict.
import { describe, expect, test } from 'vitest';
import { analyzeCampaign } from '../../src/analysis/campaign/analyze';
import type { CampaignInput } from '../../src/analysis/campaign/input';
import { exact, metric } from '../../src/analysis/metrics/reading';
import { equalProportionsP, rateDifference } from '../../src/analysis/stats/proportions';
import { resultsSchema, type ResultMetric } from '../../src/model/results';
import { makeCampaign, madeMetrics } from './make-campaign';

const tally = (successes: number, trials: number) => ({ successes, trials });

test('differences of rates: examples of Newcombe, Statistics in Medicine 17 (1998) 873, table II, method 10 (from memory)', () => {
  // His first rate less his second; ours is b less a.
  const table: [number, number, number, number, number, number][] = [[56, 70, 48, 80, 0.0524, 0.3339], [9, 10, 3, 10, 0.1705, 0.8090], [6, 7, 2, 7, 0.0582, 0.8062], [5, 56, 0, 29, -0.0381, 0.1926]];
  for (const [s1, n1, s2, n2, lower, upper] of table) {
    const { interval } = rateDifference(tally(s2, n2), tally(s1, n1));
    expect(interval.lower).toBeCloseTo(lower, 4);
    expect(interval.upper).toBeCloseTo(upper, 4);
  }
  expect(rateDifference(tally(0, 0), tally(1, 2))).toMatchObject({ difference: null, interval: { lower: null, reason: 'a side has no trials' } });
});

test('the exact test: the tea cups of Fisher, The Design of Experiments (1935), 3 and 1 of four right: p = 34/70', () => {
  expect(equalProportionsP(tally(3, 4), tally(1, 4))).toBeCloseTo(34 / 70, 12);
  expect(equalProportionsP(tally(4, 4), tally(0, 4))).toBeCloseTo(2 / 70, 12);
  expect(equalProportionsP(tally(75, 75), tally(75, 75))).toBe(1);
});

/** Spin-up runs: successes of 75 tries, setting by setting. */
function spinUps(table: Readonly<Record<string, readonly number[]>>, over: Partial<CampaignInput> = {}): ResultMetric {
  const base = makeCampaign(Object.fromEntries(Object.entries(table).map(([s, all]) => [s, all.map(() => ({}))])), over);
  const runs = base.runs.map((r) => {
    const succeeded = table[r.setting][r.repeat - 1];
    return { ...r, metrics: { ...madeMetrics(r.id, {}, { starts: { tried: 75, succeeded } }), metrics: [metric('start_success', exact(succeeded / 75), 'made up')] } };
  });
  const results = analyzeCampaign({ ...base, runs });
  resultsSchema.parse(results);
  return results.metrics[0];
}

describe('spin-up', () => {
  test('the rate of a setting is that of all its tries, with Wilson\'s interval, at 100 % too', () => {
    const m = spinUps({ a: [75, 75], b: [60, 70] });
    const [a, b] = m.settings.map((s) => s.estimate);
    expect(a).toMatchObject({ value: 1, interval: { upper: 1, reason: null } });
    expect(a.interval.lower).toBeCloseTo(150 / (150 + 1.959964 ** 2), 6); // Wilson at n of n: n/(n + z²)
    expect(b.value).toBeCloseTo(130 / 150, 12);
    expect(b.method).toContain('130 of 150 over 2 runs');
  });

  test('15 failures more of 150 are worse, 4 more are not settled: both with the figures in words', () => {
    expect(spinUps({ a: [75, 75], b: [67, 68] }).contrasts[0]).toMatchObject({ verdict: 'worse', text: expect.stringContaining('135 of 150 against 150 of 150') as string });
    const open = spinUps({ a: [75, 75], b: [73, 73] }).contrasts[0];
    expect(open).toMatchObject({ verdict: 'open', text: 'not settled (146 of 150 against 150 of 150)' });
    expect(open.p).toBeGreaterThan(0.05);
    expect(open.interval.lower).toBeLessThan(0);
  });

  test('no difference beyond the margin is claimed when the interval allows it, and only then', () => {
    const margins = (value: number) => ({ margins: { start_success: { kind: 'relative' as const, value, text: `${100 * value} %` } } });
    expect(spinUps({ a: [75, 75, 75, 75], b: [75, 75, 75, 74] }, margins(0.05)).contrasts[0].verdict).toBe('same');
    expect(spinUps({ a: [75, 75, 75, 75], b: [75, 75, 75, 74] }, margins(0.01)).contrasts[0].verdict).toBe('open');
  });

  test('more settings need more: Bonferroni widens the interval', () => {
    const two = spinUps({ a: [75, 75], b: [70, 70] }).contrasts[0].interval;
    const four = spinUps({ a: [75, 75], b: [70, 70], c: [75, 75], d: [75, 75] }).contrasts[0].interval;
    expect((four.upper ?? 0) - (four.lower ?? 0)).toBeGreaterThan((two.upper ?? 0) - (two.lower ?? 0));
  });
});
