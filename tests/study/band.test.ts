// Goal: the coverage study's band is the binomial one, and its options refuse what they do not know.
// Method: exact binomial probabilities by hand, both sides of each end of the band, the study's own command line.
import { describe, expect, test } from 'vitest';
import { binomialCdf, familyBand } from '../../study/band';
import { schedule } from '../../study/cells';
import { readOptions } from '../../study/options';

describe('band', () => {
  test('the binomial distribution is exact on a case that can be counted: 3 tosses of a coin', () => {
    [1 / 8, 4 / 8, 7 / 8, 1].forEach((p, k) => { expect(binomialCdf(k, 3, 0.5)).toBeCloseTo(p, 10); });
  });
  test('each end of the band is the last count that is not too improbable', () => {
    const tail = 0.05 / 60 / 2;
    const { low, high } = familyBand(400, 0.95, 60);
    expect(binomialCdf(low - 1, 400, 0.95)).toBeLessThanOrEqual(tail);
    expect(binomialCdf(low, 400, 0.95)).toBeGreaterThan(tail);
    expect(1 - binomialCdf(high, 400, 0.95)).toBeLessThanOrEqual(tail);
    expect(1 - binomialCdf(high - 1, 400, 0.95)).toBeGreaterThan(tail);
  });
  test('where even all successes are likely enough, the band is open above', () => {
    expect(familyBand(40, 0.95, 60).high).toBe(40);
  });
});

test('every seed plays the same runs, each in another order', () => {
  const runs = (seed: number): string[] => schedule(seed).map((r) => `${r.repeat} ${r.label} ${r.setting}`);
  expect([...runs(1)].sort()).toEqual([...runs(2)].sort());
  expect(runs(1)).not.toEqual(runs(2));
  expect(runs(3)).toEqual(runs(3));
});

test('an option that does not exist, a rig that does not exist and a broken range are refused by name', () => {
  expect(() => readOptions(['--sedes', '1..2'])).toThrow('--sedes');
  expect(() => readOptions(['--rig', 'loud'])).toThrow('quiet, default, hostile, all');
  expect(() => readOptions(['--seeds', '5'])).toThrow('1..400');
  expect(readOptions(['--seeds', '3..5']).seeds).toEqual([3, 4, 5]);
});
