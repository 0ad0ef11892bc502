// Goal: a plan says truly what changes before each run, by whom, how long the bench runs alone, and when it ends.
// Method: the demo campaign on a rig that does everything itself and on one that needs hands; sums checked run by run; 10 000 runs timed.
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { CannotPlan, type Factor } from '../../src/campaign/design';
import { planCampaign } from '../../src/campaign/plan';
import { PROPELLER, SUPPLY } from '../../src/campaign/plan-input';
import { labelsFor } from '../../src/campaign/plan-problems';
import { cpuSeconds, factorOf, KV, scout, use } from './inputs';

describe('a rig that changes everything itself', () => {
  const plan = planCampaign(scout());

  test('makes 240 runs in five blocks and one stretch without hands', () => {
    expect(plan.estimate).toMatchObject({ runs: 240, blocks: 5, hands_s: 0 });
    expect(plan.estimate.stretches).toHaveLength(1);
    expect(plan.estimate.stretches[0]).toMatchObject({ first: 1, last: 240, starts_s: 0, hands: [] });
    expect(plan.runs.every((r) => !r.needsHands)).toBe(true);
  });

  test('names runs by number, protocol and setting, safe and distinct', () => {
    expect(plan.runs.map((r) => r.index)).toEqual(Array.from({ length: 240 }, (_, i) => i + 1));
    const run = plan.runs[41];
    expect(run.id).toBe(`0042-${run.label}-switching_frequency-${run.setting.levels.switching_frequency.value}kHz_timing_advance-${run.setting.levels.timing_advance.value}deg`);
    for (const r of plan.runs) expect(r.id).toMatch(/^[A-Za-z0-9._-]+$/);
    expect(new Set(plan.runs.map((r) => r.id)).size).toBe(240);
  });

  test('changes before each run are exactly the conditions that differ from the run before', () => {
    const present: Record<string, string> = {};
    for (const run of plan.runs) {
      for (const c of run.changes) {
        expect(c.from).toBe(present[c.name] ?? null);
        expect(c.to).not.toBe(c.from);
        present[c.name] = c.to;
      }
      for (const w of run.conditions) expect(present[w.name]).toBe(w.to);
      expect(present[SUPPLY]).toBe(run.protocol === 'kv' ? '3 V' : '7.6 V');
      expect(present[PROPELLER]).toBe(run.protocol === 'kv' ? 'off' : 'on');
    }
  });

  test('time and disk are the sums over the runs', () => {
    const bench = 5 * 12 * (5 + 12 + 32 + 4) + 240 * 20;
    const changes = plan.runs.flatMap((r) => r.changes).reduce((s, c) => s + (c.by === 'rig' ? 0.1 : 0.5), 0);
    expect(plan.estimate.total_s).toBeCloseTo(bench + changes, 6);
    expect(plan.estimate.disk_bytes).toBe(240 * 200_000);
  });
});

describe('a rig that needs hands for the propeller', () => {
  const plan = planCampaign(scout({ by: { propeller: 'operator', supply: 'supply', mounting: 'operator' }, inPlace: { [PROPELLER]: 'on' } }));

  test('begins with what is mounted and calls a person once, to take the propeller off for all kv runs', () => {
    expect(plan.estimate.stretches).toHaveLength(2);
    const [first, second] = plan.estimate.stretches;
    expect(plan.runs.slice(0, 180).every((r) => r.protocol !== 'kv')).toBe(true);
    expect(first).toMatchObject({ first: 1, last: 180, hands: [], hands_s: 0 });
    expect(second).toMatchObject({ first: 181, last: 240, hands_s: 300 });
    expect(second.hands.map((h) => `${h.name} ${h.from} to ${h.to} by ${h.by}`)).toEqual(['propeller_mounted on to off by operator']);
    expect(second.starts_s).toBeCloseTo(first.alone_s, 6);
    expect(first.alone_s + second.alone_s + 300).toBeCloseTo(plan.estimate.total_s, 6);
    expect(plan.estimate.hands_s).toBe(300);
  });

  test('repeats stay spread: within a stretch each block holds every cell once', () => {
    for (let block = 1; block <= 10; block++) {
      const runs = plan.runs.filter((r) => r.block === block);
      expect(runs).toHaveLength(block <= 5 ? 36 : 12);
      expect(new Set(runs.map((r) => `${r.label} ${r.setting.id}`)).size).toBe(runs.length);
    }
  });

  test('with nothing known to be in place a person is called at the start', () => {
    const unknown = planCampaign(scout({ by: { propeller: 'operator', supply: 'supply', mounting: 'rig' } }));
    expect(unknown.runs[0].needsHands).toBe(true);
    expect(unknown.runs[0].changes.find((c) => c.name === PROPELLER)?.from).toBeNull();
    expect(unknown.estimate.stretches).toHaveLength(2);
  });

  test('a supply set by hand is grouped like the propeller: the 3 V of kv and the missing propeller need one visit', () => {
    const manual = planCampaign(scout({ by: { propeller: 'operator', supply: 'operator', mounting: 'operator' }, inPlace: { [PROPELLER]: 'on', [SUPPLY]: '7.6 V' } }));
    expect(manual.estimate.stretches.map((s) => s.hands.map((h) => h.name))).toEqual([[], [PROPELLER, SUPPLY]]);
  });

  test('operator-set factors and re-mounts form stretches, and each run says what its stretch must be', () => {
    const factors = [factorOf('timing_advance', 'deg', [0, 8], 'operator'), factorOf('switching_frequency', 'kHz', [22, 44])];
    const by = { propeller: 'operator', supply: 'supply', mounting: 'operator' } as const;
    const p = planCampaign(scout({ factors, by, mountings: 2, repeats: 2 }));
    // 2 mountings × (2 advances × 2 propeller states): 8 conditions, 8 stretches; the second mounting starts as the first ended.
    expect(p.estimate.stretches).toHaveLength(8);
    expect(p.estimate.stretches.slice(1).map((s) => s.hands.length)).toEqual([1, 1, 1, 1, 1, 1, 1]);
    expect(p.estimate.stretches[4].hands[0]).toMatchObject({ name: 'mounting_number', from: '1', to: '2', takes_s: 900 });
    expect(p.runs).toHaveLength(2 * 2 * 4 * 4);
  });
});

describe('appliers', () => {
  test('a factor on the supply sets the voltage, except where the protocol states its own', () => {
    const p = planCampaign(scout({ factors: [factorOf('bus', 'V', [7.2, 8.4], 'supply')], repeats: 1 }));
    for (const run of p.runs) {
      expect(run.conditions.find((c) => c.name === SUPPLY)?.value).toBe(run.protocol === 'kv' ? 3 : run.setting.levels.bus.value);
    }
  });

  test('a factor declared hard is kept together although no hands are needed', () => {
    const hard: Factor = { ...factorOf('firmware', 'rev', [1, 2, 3], 'command'), hard: true };
    const p = planCampaign(scout({ factors: [hard, factorOf('timing_advance', 'deg', [0, 8])] }));
    expect(p.runs.filter((r) => r.changes.some((c) => c.name === 'firmware'))).toHaveLength(3);
    expect(p.estimate.stretches).toHaveLength(1);
    const soft = planCampaign(scout({ factors: [{ ...hard, hard: false }, factorOf('timing_advance', 'deg', [0, 8])] }));
    expect(soft.runs.filter((r) => r.changes.some((c) => c.name === 'firmware')).length).toBeGreaterThan(30);
  });

  test('a protocol that runs with or without propeller never causes a swap', () => {
    const p = planCampaign(scout({ protocols: [use('spin-up', { propeller: 'any' }), KV, use('thrust-curve')], by: { propeller: 'operator', supply: 'supply', mounting: 'rig' } }));
    expect(p.runs.filter((r) => r.changes.some((c) => c.name === PROPELLER))).toHaveLength(2);
  });
});

describe('ways to shuffle', () => {
  const by = { propeller: 'operator', supply: 'supply', mounting: 'operator' } as const;

  test('all: chance all through a repeat, although a person is then called often', () => {
    const p = planCampaign(scout({ by, shuffle: 'all', repeats: 2 }));
    expect(p.estimate.blocks).toBe(2);
    expect(p.estimate.stretches.length).toBeGreaterThan(20);
    for (const block of [1, 2]) expect(new Set(p.runs.filter((r) => r.block === block).map((r) => `${r.label} ${r.setting.id}`)).size).toBe(48);
  });

  test('none: as written, setting by setting', () => {
    const p = planCampaign(scout({ shuffle: 'none', repeats: 1 }));
    expect(p.runs.slice(0, 5).map((r) => r.id)).toEqual([
      '0001-kv-switching_frequency-22kHz_timing_advance-0deg', '0002-thrust-curve-switching_frequency-22kHz_timing_advance-0deg',
      '0003-response-switching_frequency-22kHz_timing_advance-0deg', '0004-efficiency-hold-switching_frequency-22kHz_timing_advance-0deg',
      '0005-kv-switching_frequency-22kHz_timing_advance-8deg',
    ]);
  });

  test('an operator factor declared easy is not kept together, and its own time counts', () => {
    const easy: Factor = { ...factorOf('timing_advance', 'deg', [0, 8], 'operator'), hard: false, takes_s: 7 };
    const p = planCampaign(scout({ factors: [easy] }));
    const swaps = p.runs.flatMap((r) => r.changes).filter((c) => c.name === 'timing_advance');
    expect(swaps.length).toBeGreaterThan(5);
    expect(p.estimate.hands_s).toBeCloseTo(swaps.length * 7, 6);
  });
});

test('a factor may bear a name that every object has', () => {
  const p = planCampaign(scout({ factors: [factorOf('constructor', 'deg', [0, 8], 'operator')], baselineEvery: 7 }));
  expect(p.runs.filter((r) => r.changes.some((c) => c.name === 'constructor'))).toHaveLength(2);
  expect(p.runs[0].changes.find((c) => c.name === 'constructor')?.from).toBeNull();
});

describe('baseline runs', () => {
  test('stand at the baseline setting, keep what needs hands as it is, and carry their own count', () => {
    const factors = [factorOf('timing_advance', 'deg', [0, 8, 16], 'operator'), factorOf('switching_frequency', 'kHz', [22, 44])];
    const p = planCampaign(scout({ factors, baselineEvery: 10, baseline: { switching_frequency: '44kHz' }, by: { propeller: 'operator', supply: 'supply', mounting: 'rig' } }));
    const baselines = p.runs.filter((r) => r.kind === 'baseline');
    expect(baselines).toHaveLength(1 + 3 * 2 * 4 * 5 / 10);
    for (const b of baselines) {
      expect(b.setting.levels.switching_frequency.text).toBe('44 kHz');
      expect(b.id).toContain('baseline-');
      if (b.index > 1) expect(b.needsHands).toBe(false);
    }
    expect(p.estimate.stretches).toHaveLength(6);
  });

  test('work with a supply that a person sets', () => {
    const p = planCampaign(scout({ factors: [factorOf('bus', 'V', [7.2, 8.4], 'supply')], baselineEvery: 5, by: { propeller: 'rig', supply: 'operator', mounting: 'rig' } }));
    expect(p.runs.filter((r) => r.kind === 'baseline' && r.index > 1).every((r) => !r.needsHands)).toBe(true);
  });
});

describe('any plan', () => {
  test('starts a stretch exactly where hands are needed, and numbers are finite', () => {
    const who = fc.constantFrom<'rig' | 'operator'>('rig', 'operator');
    fc.assert(fc.property(who, fc.constantFrom<'supply' | 'operator'>('supply', 'operator'), who, fc.integer({ min: 1, max: 2 }), fc.integer({ min: 0, max: 7 }), fc.nat(), (propeller, supply, mounting, mountings, baselineEvery, seed) => {
      const p = planCampaign(scout({ by: { propeller, supply, mounting }, mountings, baselineEvery, seed, repeats: 2 }));
      p.runs.forEach((r, i) => {
        const opens = i > 0 && r.stretch !== p.runs[i - 1].stretch;
        if (i > 0) expect(opens).toBe(r.needsHands);
        expect(r.needsHands).toBe(r.changes.some((c) => c.by === 'operator'));
        expect(Number.isFinite(r.before_s + r.duration_s)).toBe(true);
      });
      const e = p.estimate;
      expect(e.stretches.reduce((s, x) => s + x.alone_s + x.hands_s, 0)).toBeCloseTo(e.total_s, 6);
      expect(e.stretches.reduce((s, x) => s + x.last - x.first + 1, 0)).toBe(e.runs);
    }), { numRuns: 40 });
  });

  test('10 000 runs are planned within 1 s', () => {
    const values = (n: number): number[] => Array.from({ length: n }, (_, i) => i);
    const input = scout({ factors: [factorOf('a', 'kHz', values(10)), factorOf('b', 'deg', values(10)), factorOf('c', 'deg', values(5), 'operator')], by: { propeller: 'operator', supply: 'operator', mounting: 'operator' } });
    expect(cpuSeconds(() => { expect(planCampaign(input).runs).toHaveLength(10_000); })).toBeLessThan(1);
  });

  test('tells every problem at once', () => {
    const bad = scout({
      protocols: [KV, KV, use('soak', { duration_s: NaN })], baseline: { advance: '8 deg', switching_frequency: '23 kHz' },
      factors: [factorOf('mounting_number', 'deg', [1]), factorOf('switching_frequency', 'kHz', [22]), { name: 'bus', apply: 'supply', levels: [{ text: 'low', value: null }] }, factorOf('bus2', 'V', [5], 'supply')],
    });
    try {
      planCampaign(bad);
      expect.unreachable();
    } catch (e) {
      expect(e).toBeInstanceOf(CannotPlan);
      expect((e as CannotPlan).problems.map((p) => p.slice(0, 32))).toEqual([
        'Two protocols are called "kv"; g', 'Protocol "soak" has a duration o', 'A factor cannot be called "mount', 'Factor "bus" is set by the suppl',
        'Two factors are set by the suppl', 'The baseline names the factor "a', 'The baseline puts switching_freq',
      ]);
    }
    expect(() => planCampaign(scout({ protocols: [] }))).toThrow(/lists no protocols/);
    expect(() => planCampaign(scout({ repeats: 0 }))).toThrow(/repeats is 0/);
  });

  test('labels of protocols used twice are different', () => {
    expect(labelsFor(['response', 'kv', 'response', 'response-2', 'response'])).toEqual(['response', 'kv', 'response-3', 'response-2', 'response-4']);
  });
});
