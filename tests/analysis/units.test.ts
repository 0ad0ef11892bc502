// Goal: mountings and specimens are levels of their own, and the stated estimand decides what is computed.
// Method: made-up campaigns with known spreads between mountings, specimens and repeats; both choices of the estimand; simulated nulls.
import { describe, expect, test } from 'vitest';
import { analyzeCampaign } from '../../src/analysis/campaign/analyze';
import type { CampaignInput } from '../../src/analysis/campaign/input';
import { resultsSchema, type ResultMetric } from '../../src/model/results';
import { makeCampaign } from './make-campaign';
import { normals } from './make-run';

const rpm = (values: readonly number[]) => values.map((value) => ({ full_throttle_rpm: value }));
const one = (input: CampaignInput): ResultMetric => {
  const results = analyzeCampaign(input);
  resultsSchema.parse(results);
  return results.metrics[0];
};

/** Two settings in mountings of two repeats each: `value(setting, mounting, repeat)`. */
function mounted(mountings: number, value: (setting: number, mounting: number, repeat: number) => number, over: Partial<CampaignInput> = {}): CampaignInput {
  const table = Object.fromEntries(['a', 'b'].map((s, i) => [s, rpm(Array.from({ length: 2 * mountings }, (_, k) => value(i, k >> 1, k & 1)))]));
  const input = makeCampaign(table, over);
  return { ...input, runs: input.runs.map((r) => ({ ...r, mounting: ((r.repeat - 1) >> 1) + 1 })) };
}

describe('mountings', () => {
  // Mountings shift everything by 0, 10, −10; b lies 2 above a, in mounting 1 by 5, in the others by 0.5; repeats differ by 0.2.
  const value = (s: number, m: number, r: number): number => 1000 + [0, 10, -10][m] + s * (m === 0 ? 5 : 0.5) + 0.2 * r;

  test('values over mountings carry their spread, values of these mountings do not, and each says what it is about', () => {
    const over = one(mounted(3, value)).settings[0].estimate;
    const these = one(mounted(3, value, { estimand: 'this-mounting' })).settings[0].estimate;
    expect(over.u).toBeCloseTo(10 / Math.sqrt(3), 6); // sd of 0, 10, −10 is 10
    expect(over).toMatchObject({ dof: 2, estimand: 'averaged over re-mounts' });
    expect(these.u).toBeLessThan(0.1);
    expect(these.estimand).toBe('these 3 mountings');
    expect(these.value).toBeCloseTo(over.value ?? NaN, 9);
  });

  test('a repeatability study enters values over mountings only', () => {
    const remount = { mounts: 6, speed: 0.02, thrust: null, power: null };
    const table = { a: rpm([1000, 1001]), b: rpm([1010, 1011]) };
    const over = one(makeCampaign(table, { remount })).settings[0];
    const these = one(makeCampaign(table, { remount, estimand: 'this-mounting' })).settings[0];
    expect(over.remount).toBeCloseTo(20.01, 6);
    expect([these.remount, these.estimate.estimand]).toEqual([null, 'this mounting']);
    expect(over.estimate.u).toBeGreaterThan(20);
    expect(these.estimate.u).toBeLessThan(1);
  });

  test('the difference is the same, what it is sure of is not: an effect that depends on the mounting is settled for these, not at large', () => {
    const over = one(mounted(3, value)).contrasts[0];
    const these = one(mounted(3, value, { estimand: 'this-mounting' })).contrasts[0];
    expect(over.difference).toBeCloseTo(2, 9);
    expect(these.difference).toBeCloseTo(2, 9);
    // Over mountings it is the paired t of 5, 0.5, 0.5: u = sd/√3 with 2 degrees of freedom.
    expect(over.u).toBeCloseTo(Math.sqrt(((5 - 2) ** 2 + 2 * 1.5 ** 2) / 2 / 3), 9);
    expect(over.dof).toBe(2);
    expect(over.verdict).toBe('open');
    expect(these.u).toBeLessThan(over.u ?? 0);
  });

  test('one mounting without a study says that another might read otherwise', () => {
    expect(analyzeCampaign(makeCampaign({ a: rpm([1, 2]), b: rpm([1, 2]) })).notes.join()).toContain('one mounting and no repeatability study');
    expect(analyzeCampaign(makeCampaign({ a: rpm([1, 2]), b: rpm([1, 2]) }, { estimand: 'this-mounting' })).notes.join()).not.toContain('one mounting');
  });
});

/** Two levels of a factor, three specimens, `n` repeats: `value(level, specimen, repeat)`. */
function withSpecimens(name: string, n: number, value: (level: number, specimen: number, repeat: number) => number): CampaignInput {
  const cells = ['A', 'B'].flatMap((level, i) => ['1', '2', '3'].map((s, k) => [`${level} ${s}`, rpm(Array.from({ length: n }, (_, r) => value(i, k, r)))] as const));
  const input = makeCampaign(Object.fromEntries(cells));
  return { ...input, factors: [{ ...input.factors[0], name }, { ...input.factors[1], name: 'sample', specimen: true }], settings: input.settings.map((s) => ({ ...s, levels: { [name]: s.levels.f0, sample: s.levels.f1 } })) };
}

describe('specimens', () => {
  test('motors are compared by their specimens: three values a type, whatever the number of repeats', () => {
    const next = normals(3);
    const shift = [[0, 6, -6], [3, 9, -3]];
    const m = one(withSpecimens('motor', 20, (l, s) => 1000 + shift[l][s] + 0.1 * next()));
    expect(m.settings.map((s) => [s.setting, s.estimate.estimand])).toEqual([['motor-A', 'averaged over 3 specimens'], ['motor-B', 'averaged over 3 specimens']]);
    expect(m.contrasts).toHaveLength(1);
    expect(m.contrasts[0].difference).toBeCloseTo(3, 1);
    expect(m.contrasts[0].u).toBeCloseTo(6 * Math.sqrt(2 / 3), 1); // both types scatter by 6 between specimens
    expect(m.contrasts[0].dof).toBeCloseTo(4, 6);
    expect(m.contrasts[0].verdict).toBe('open');
  });

  test('a setting tried on every specimen is compared inside them, and each specimen counts once', () => {
    const own = [1, 1.2, 0.8];
    const m = one(withSpecimens('timing_advance', 20, (l, s, r) => 1000 + 50 * s + l * own[s] + (r % 2 === 0 ? 0.01 : -0.01)));
    expect(m.contrasts[0].difference).toBeCloseTo(1, 9);
    expect(m.contrasts[0].u).toBeCloseTo(0.2 / Math.sqrt(3), 6);
    expect(m.contrasts[0].dof).toBeCloseTo(2, 6);
  });

  test('two equal types are called different in at most 7.8 % of 400 campaigns, though specimens differ ten times as much as repeats', () => {
    const next = normals(77);
    let wrong = 0;
    for (let k = 0; k < 400; k++) {
      const specimen = Array.from({ length: 6 }, () => 10 * next());
      const m = one(withSpecimens('motor', 4, (l, s) => 1000 + specimen[3 * l + s] + next()));
      const { lower, upper } = m.contrasts[0].interval;
      if ((lower ?? -1) > 0 || (upper ?? 1) < 0) wrong++;
    }
    expect(wrong / 400).toBeLessThanOrEqual(0.078);
    expect(wrong).toBeGreaterThan(3);
  });

  test('specimens alone are compared as they are, with a word of caution', () => {
    const input = makeCampaign({ s1: rpm([1, 2, 3]), s2: rpm([4, 5, 6]) });
    const results = analyzeCampaign({ ...input, factors: input.factors.map((f) => ({ ...f, specimen: true })) });
    expect(results.metrics[0].settings).toHaveLength(2);
    expect(results.notes.join()).toContain('those of these specimens, not of their types');
  });
});
