// Goal: skipping samples changes nothing: closest approaches and trips are those of a look at every sample.
// Method: seeded noise with excursions; a plain search over all windows of the whole run as the reference.
import { describe, expect, test } from 'vitest';
import { SITable, toSI, type ChannelFact, type Conversion } from '../../src/model/channel';
import { badOf, freshIn } from '../../src/model/limits';
import { BOARD_STATES, type SampleBlock } from '../../src/model/sample';
import { advance, beginRun, startJudge } from '../../src/safety/judge';
import { FACTS, LIMITS, SETUP } from './build';

const DRIVING = BOARD_STATES.indexOf('driving');

/** xorshift32 as a fraction. */
function dice(seed: number): () => number {
  let s = seed;
  return () => {
    s ^= s << 13;
    s ^= s >>> 17;
    s ^= s << 5;
    return (s >>> 0) / 2 ** 32;
  };
}

/** Highest value that some `n` samples on end all reach, and the index at which the first such run was complete. */
function held(values: readonly number[], n: number): { value: number; at: number } {
  let best = { value: -Infinity, at: -1 };
  for (let i = n - 1; i < values.length; i++) {
    const value = Math.min(...values.slice(i - n + 1, i + 1));
    if (value > best.value) best = { value, at: i };
  }
  return best;
}

const quantised = (values: readonly number[], fact: ChannelFact) => values.map((v) => toSI(fact.conversion, Math.round(v / 0.01)));

describe('the closest approach to a level', () => {
  test.each([1, 2, 3, 4, 5, 6, 7, 8])('is the highest value held for as many samples as a trip needs, and when (seed %i)', (seed) => {
    const random = dice(seed * 77_777);
    // Two coarse steps of noise make ties, a walk makes long runs, spikes come alone.
    let walk = 10;
    const wanted = Array.from({ length: 1500 }, () => {
      walk = Math.min(30, Math.max(2, walk + random() - 0.5));
      return walk + Math.round(3 * random()) + (random() < 0.02 ? 5 * random() : 0);
    });
    const fact = FACTS[0];
    for (const for_s of [0.001, 0.003, 0.005, 0.02, 0.1]) {
      const judge = startJudge({ ...SETUP, facts: FACTS.slice(0, 2), limits: { ...LIMITS, current_peak: { above_A: 50, for_s }, current_mean: { above_A: 100, over_s: 1 } }, supplyLimit_A: null });
      beginRun(judge, 100);
      for (const [i, amps] of wanted.entries()) expect(advance(judge, row(i, amps), 0)).toBeNull();
      const reference = held(quantised(wanted, fact), badOf(freshIn(for_s, fact.period_us)));
      const closest = judge.rules.all.map((r) => r.closest()).find((c) => c?.limit === 'current_peak');
      expect(closest).toEqual({ limit: 'current_peak', value: reference.value, bound: 50, unit: 'A', ratio: reference.value / 50, tick_us: 1000 * (reference.at + 1) });
    }
  });

  test.each([1, 2, 3, 4])('a trip comes with the sample that makes three quarters of the window bad (seed %i)', (seed) => {
    const random = dice(seed * 1313);
    const values = Array.from({ length: 3000 }, (_, i) => (random() < i / 3000 ? 45 : 20));
    const n = freshIn(0.005, 1000);
    const first = values.findIndex((_, i) => values.slice(Math.max(0, i - n + 1), i + 1).filter((v) => v > 40).length >= badOf(n));
    const judge = startJudge({ ...SETUP, facts: FACTS.slice(0, 2), limits: { ...LIMITS, current_mean: { above_A: 100, over_s: 1 } }, supplyLimit_A: null });
    beginRun(judge, 100);
    const tripped = values.findIndex((amps, i) => advance(judge, row(i, amps), 0) !== null);
    expect(first).toBeGreaterThan(100);
    expect(tripped).toBe(first);
  });
});

/** Current and voltage, both fresh, one millisecond after the row before. */
function row(i: number, amps: number): SampleBlock {
  return {
    rows: 1, tick_us: Float64Array.of(1000 * (i + 1)), throttle: Uint16Array.of(0), state: Uint8Array.of(DRIVING), ordinal: Uint16Array.of(1),
    fresh: Uint8Array.of(3), valid: Uint8Array.of(3), counts: [Int32Array.of(Math.round(amps / 0.01)), Int32Array.of(6080 + (i & 1))],
  };
}

test('the table of conversions gives what the conversion gives, to the bit', () => {
  const laws: Conversion[] = [
    { law: 'linear', zero: 2048, c0: -0.013, c1: 0.00731, c2: 0 }, { law: 'linear', zero: -7, c0: 0.1, c1: 0.0123, c2: -3.1e-8 },
    { law: 'period', unit_s: 1e-6, pole_pairs: 7, c1: 1.0021 },
  ];
  const table = new SITable(laws);
  const random = dice(5);
  for (let k = 0; k < 3000; k++) {
    const counts = Math.floor(70_000 * random()) - 2000;
    laws.forEach((law, channel) => { expect(table.at(channel, counts)).toBe(toSI(law, counts)); });
  }
});
