// Goal: a resumed campaign can tell that its plan, rig, calibration or limits changed, and what exactly.
// Method: plans frozen with SHA-256 from node:crypto, changed in one place at a time; properties over random JSON; cut and edited files.
import fc from 'fast-check';
import { createHash } from 'node:crypto';
import { describe, expect, test } from 'vitest';
import { describeDifference, diffPlans, freezePlan, thawPlan, type FrozenPlan, type Json } from '../../src/campaign/frozen';
import { planCampaign } from '../../src/campaign/plan';
import type { PlanInput } from '../../src/campaign/plan-input';
import { cpuSeconds, factorOf, KV, scout, use } from './inputs';

const sha256 = (text: string): string => createHash('sha256').update(text).digest('hex');
const bench: Record<string, Json> = {
  rig: { rig: 'scout-stand', channels: { current: { gain: '10 mA', averages: 8 } } },
  limits: { current_peak: { above: '40 A', for: '5 ms' } }, calibration: [{ channel: 'thrust', gain: 0.0005 }],
};
const freeze = (part: Partial<PlanInput> = {}, on: Record<string, Json> = bench, versions = { spoolbench: '0.1.0' }): FrozenPlan => freezePlan(planCampaign(scout(part)), on, versions, sha256);
const told = (a: FrozenPlan, b: FrozenPlan): string[] => diffPlans(a, b).map(describeDifference);

const tiny = planCampaign(scout({ factors: [], protocols: [KV], repeats: 1 }));

describe('the fingerprint', () => {
  test('is the same for the same campaign, whatever the order of keys, the versions and the estimated times', () => {
    const turned = Object.fromEntries(Object.entries(bench).reverse());
    const slower = freeze({ times: { ...scout().times, between_s: 99 } }, turned, { spoolbench: '9.9.9' });
    expect(slower.fingerprint).toBe(freeze().fingerprint);
    expect(diffPlans(freeze(), slower)).toEqual([]);
  });

  test('changes with anything that results rest on', () => {
    const others = [
      freeze({ seed: 8 }), freeze({ repeats: 6 }), freeze({ campaign: 'other' }), freeze({ protocols: [use('kv', { params: { supply: '4 V' } })] }),
      freeze({ baselineEvery: 10 }), freeze({}, { ...bench, limits: { current_peak: { above: '41 A', for: '5 ms' } } }), freeze({}, { rig: bench.rig }),
    ];
    expect(new Set([freeze(), ...others].map((f) => f.fingerprint)).size).toBe(others.length + 1);
  });
});

describe('what changed', () => {
  test('is named by section and place', () => {
    expect(told(freeze(), freeze({}, { ...bench, rig: { rig: 'scout-stand', channels: { current: { gain: '11 mA', filter: '1 kHz', averages: 8 } } } }))).toEqual([
      'rig channels.current.filter: was absent, is "1 kHz"', 'rig channels.current.gain: was "10 mA", is "11 mA"',
    ]);
    expect(told(freeze(), freeze({}, { ...bench, calibration: [{ channel: 'thrust', gain: 0.0006 }] }))).toEqual(['calibration [0].gain: was 0.0005, is 0.0006']);
    expect(told(freeze(), freeze({}, { rig: bench.rig, limits: bench.limits }))).toEqual(['calibration: was [{"channel":"thrust","gain":0.0005}], is absent']);
    expect(told(freeze(), freeze({ protocols: [{ ...KV, params: { supply: '4 V' } }, ...scout().protocols.slice(1)] }))).toEqual(['protocols kv.params.supply: was "3 V", is "4 V"']);
  });

  test('another order is told in one line, another count in two', () => {
    const other = told(freeze(), freeze({ seed: 8 }));
    expect(other[0]).toBe('seed: was 7, is 8');
    expect(other.slice(1)).toHaveLength(1);
    expect(other[1]).toMatch(/^runs first different run: \d+: was \d{4}-.*, is \d{4}-/);
    const longer = told(freeze(), freeze({ repeats: 6 }));
    expect(longer[0]).toBe('runs count: was 240, is 288');
  });

  test('hundreds of changes are cut to twenty a section, with the rest counted', () => {
    const many = (n: number): Record<string, Json> => ({ rig: Object.fromEntries(Array.from({ length: 300 }, (_, i) => [`k${i}`, n])) });
    const lines = told(freeze({}, many(1)), freeze({}, many(2)));
    expect(lines).toHaveLength(21);
    expect(lines[20]).toBe('rig and 280 more');
  });

  test('is empty exactly when the JSON is the same', () => {
    fc.assert(fc.property(fc.jsonValue(), fc.jsonValue(), (a, b) => {
      const same = JSON.stringify(a) === JSON.stringify(b);
      const [was, now] = [freezePlan(tiny, { rig: a as Json }, {}, sha256), freezePlan(tiny, { rig: b as Json }, {}, sha256)];
      const lines = diffPlans(was, now);
      if (same) expect(lines).toEqual([]);
      expect(lines.length === 0).toBe(was.fingerprint === now.fingerprint);
      expect(diffPlans(was, freezePlan(tiny, { rig: a as Json }, {}, sha256))).toEqual([]);
    }));
  });
});

describe('campaign.json', () => {
  const text = JSON.stringify(freeze(), null, 1);

  test('is read back as it was', () => {
    const back = thawPlan(text, sha256);
    expect(back.ok && diffPlans(back.frozen, freeze())).toEqual([]);
    expect(back.ok && back.frozen.takes_s.reduce((s, t) => s + t, 0)).toBeCloseTo(freeze().estimate.total_s, 1);
  });

  test('cut at any place, edited or foreign it is refused with the reason', () => {
    for (let cut = 0; cut < text.length; cut += 997) expect(thawPlan(text.slice(0, cut), sha256).ok).toBe(false);
    expect(thawPlan(text.replace('"seed": 7', '"seed": 8'), sha256)).toMatchObject({ ok: false, problem: expect.stringContaining('edited') as string });
    for (const other of ['null', '1', '[]', '{}', '{"spoolbench":2}']) expect(thawPlan(other, sha256)).toMatchObject({ ok: false, problem: expect.stringContaining('this program reads 1') as string });
    expect(thawPlan('{"spoolbench":1}', sha256)).toMatchObject({ ok: false, problem: expect.stringContaining('lacks') as string });
  });

  test('10 000 runs are frozen and compared within 1 s', () => {
    const values = Array.from({ length: 50 }, (_, i) => i);
    const plan = planCampaign(scout({ factors: [factorOf('a', 'kHz', values), factorOf('b', 'deg', values.slice(0, 10))] }));
    expect(plan.runs).toHaveLength(10_000);
    expect(cpuSeconds(() => {
      const frozen = freezePlan(plan, bench, {}, sha256);
      diffPlans(frozen, { ...frozen, fingerprint: 'other' });
    })).toBeLessThan(1);
  });
});
