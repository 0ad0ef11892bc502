// Goal: the same seed gives the same order on every machine, and every order is equally likely.
// Method: the generator's published sample output, coins, dice and shuffled deck included; a 64-bit big-integer recipe beside it; counts of permutations.
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { Pcg32, shuffle } from '../../src/campaign/rng';

// Source: sample output of the authors' program pcg32-demo (seed 42, stream 54), www.pcg-random.org, "Using the minimal C
// implementation", rounds 1 and 5 (recalled from memory, then seen quoted in public test files).
const DEMO = [
  {
    round: 1, words: ['a15c02b7', '7b47f409', 'ba1d3330', '83d2f293', 'bfa4784b', 'cbed606e'],
    coins: 'HHTTTHTHHHTHTTTHHHHHTTTHHHTHTHTHTTHTTTHHHHHHTTTTHHTTTTTHTTTTTTTHT',
    rolls: '3 4 1 1 2 2 3 2 4 3 2 4 3 3 5 2 3 1 3 1 5 1 4 1 5 6 4 6 6 2 6 3 3',
    cards: 'Qd Ks 6d 3s 3d 4c 3h Td Kc 5c Jh Kd Jd As 4s 4h Ad Th Ac Jc 7s Qs 2s 7h Kh 2d 6c Ah 4d Qh 9h 6s 5s 2c 9c Ts 8d 9s 3c 8c Js 5d 2h 6h 7d 8s 9d 5h 8h Qc 7c Tc',
  },
  {
    round: 5, words: ['fcef7cd6', '1b488b5a', 'd0daf7ea', '1d9a70f7', '241a37cf', '9a3857b7'],
    coins: 'HHHHTHHTTHTTHHHTTTHHTHTHTTTTHTTHTHTTTHHHTHTHTTHTTHTHHTHTHHHTHTHTT',
    rolls: '5 4 1 2 6 1 3 1 5 6 3 6 2 1 4 4 5 2 1 5 6 5 6 4 4 4 5 2 6 4 3 5 6',
    cards: '4d 9s Qc 9h As Qs 7s 4c Kd 6h 6s 2c 8c 5d 7h 5h Jc 3s 7c Jh Js Ks Tc Jd Kc Th 3h Ts Qh Ad Td 3c Ah 2d 3d 5c Ac 8s 5s 9c 2h 6c 6d Kh Qd 8d 7d 2s 8h 4h 9d 4s',
  },
];

function playRound(rng: Pcg32): { words: string[]; coins: string; rolls: string; cards: string } {
  const words = Array.from({ length: 6 }, () => rng.next().toString(16).padStart(8, '0'));
  const coins = Array.from({ length: 65 }, () => (rng.below(2) === 1 ? 'H' : 'T')).join('');
  const rolls = Array.from({ length: 33 }, () => rng.below(6) + 1).join(' ');
  const deck = shuffle(Array.from({ length: 52 }, (_, i) => i), rng);
  return { words, coins, rolls, cards: deck.map((c) => `${'A23456789TJQK'[c >> 2]}${'hcds'[c & 3]}`).join(' ') };
}

/** The 64-bit recipe of the paper in big integers. */
function* recipe(seed: bigint, stream: bigint): Generator<number> {
  const mask = (1n << 64n) - 1n;
  const step = ((stream << 1n) | 1n) & mask;
  let state = (step + seed) & mask;
  state = (state * 6364136223846793005n + step) & mask;
  for (;;) {
    const word = (((state >> 18n) ^ state) >> 27n) & 0xffffffffn;
    const turn = state >> 59n;
    state = (state * 6364136223846793005n + step) & mask;
    yield Number(((word >> turn) | (word << ((32n - turn) & 31n))) & 0xffffffffn);
  }
}

describe('the generator', () => {
  test('plays the published rounds 1 and 5: words, coins, dice, and a deck shuffled by Fisher–Yates', () => {
    const rng = new Pcg32(42, 54);
    const rounds = Array.from({ length: 5 }, () => playRound(rng));
    for (const { round, ...expected } of DEMO) expect(rounds[round - 1]).toEqual(expected);
  });

  test('equals the 64-bit recipe in big integers for any seed and stream', () => {
    fc.assert(fc.property(fc.maxSafeNat(), fc.maxSafeNat(), (seed, stream) => {
      const rng = new Pcg32(seed, stream);
      const other = recipe(BigInt(seed), BigInt(stream));
      for (let i = 0; i < 20; i++) expect(rng.next()).toBe(other.next().value);
    }));
  });

  test('refuses seeds and bounds that are not whole or out of range', () => {
    for (const bad of [-1, 0.5, NaN, Infinity, 2 ** 53]) expect(() => new Pcg32(bad)).toThrow(/whole number/);
    expect(() => new Pcg32(2 ** 53 - 1)).not.toThrow();
    for (const bad of [0, 1.5, 2 ** 32, NaN]) expect(() => new Pcg32(1).below(bad)).toThrow(/whole bound/);
    expect(new Pcg32(1).below(1)).toBe(0);
    expect(new Pcg32(1).below(2 ** 32 - 1)).toBeLessThan(2 ** 32 - 1);
  });
});

describe('the shuffle', () => {
  test('keeps every item, and the same seed gives the same order', () => {
    fc.assert(fc.property(fc.array(fc.integer()), fc.nat(), (items, seed) => {
      const once = shuffle([...items], new Pcg32(seed));
      expect(shuffle([...items], new Pcg32(seed))).toEqual(once);
      expect([...once].sort((a, b) => a - b)).toEqual([...items].sort((a, b) => a - b));
    }));
  });

  test('reaches all 24 orders of four items equally often', () => {
    const rng = new Pcg32(2024);
    const count = new Map<string, number>();
    const rounds = 24_000;
    for (let i = 0; i < rounds; i++) {
      const key = shuffle([0, 1, 2, 3], rng).join('');
      count.set(key, (count.get(key) ?? 0) + 1);
    }
    expect(count.size).toBe(24);
    const chi2 = [...count.values()].reduce((sum, n) => sum + (n - 1000) ** 2 / 1000, 0);
    // 99.9 % point of chi-square with 23 degrees of freedom is 49.73 (NIST/SEMATECH e-Handbook, table 1.3.6.7.4).
    expect(chi2).toBeLessThan(49.73);
  });
});
