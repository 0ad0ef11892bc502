// Goal: between two runs everything wanted is done in a safe order, nothing that is in place is done again, and what is unknown is.
// Method: expected step lists written by hand; properties over a planned campaign followed step by step.
import { describe, expect, test } from 'vitest';
import { changeover, type BetweenRuns, type ChangeoverInput, type Step } from '../../src/campaign/changeover';
import type { Factor } from '../../src/campaign/design';
import { planCampaign, type PlannedRun } from '../../src/campaign/plan';
import { MOUNTING, PROPELLER, SUPPLY } from '../../src/campaign/plan-input';
import { factorOf, KV, scout, use } from './inputs';

const quiet: BetweenRuns = { pre_warm: null, cool_until: null, rest_s: 0, zero_s: 0, start_check: null };
const full: BetweenRuns = {
  pre_warm: { throttle: 0.4, for_s: 20, after_s: 600 }, cool_until: { motor_degC: 35, esc_degC: null, within_s: 120 }, rest_s: 2, zero_s: 1,
  start_check: { throttle: 0.3, for_s: 1, within: 0.02 },
};
const firmware: Factor = { ...factorOf('firmware', 'rev', [1, 2], 'command') };
const spacer: Factor = { ...factorOf('spacer', 'mm', [2, 4], 'operator') };
const means = {
  firmware: { apply: 'command', command: ['./set.sh'], read_back: ['./read.sh'], time_limit_s: 10 },
  spacer: { apply: 'operator', checklist: ['Unscrew', 'Swap the spacer', 'Screw down'], ask: ['Photo of the mount'] },
} as const;
const runs = planCampaign(scout({
  factors: [spacer, firmware, factorOf('timing_advance', 'deg', [0, 8])], protocols: [KV, use('thrust-curve')], repeats: 2, mountings: 2,
  by: { propeller: 'operator', supply: 'supply', mounting: 'operator' },
})).runs;
const kinds = (steps: readonly Step[]): string[] => steps.map((s) => (s.step === 'zero' ? `zero ${s.when}` : s.step === 'hands' ? `hands ${s.condition}` : s.step));
const at = (part: Partial<ChangeoverInput>): Step[] => changeover({ next: runs[0], inPlace: {}, between: quiet, means, afterRun: false, idle_s: Infinity, ...part });
const allInPlace = (run: PlannedRun): Record<string, string> => Object.fromEntries(run.conditions.map((c) => [c.name, c.to]));

describe('order of the steps', () => {
  test('with nothing known everything is done: hands with the supply off, then supply, rig, command, then checks', () => {
    expect(kinds(at({ between: full, afterRun: true, trip: 'STALL' }))).toEqual([
      'zero after', 're-arm', 'safe-for-hands', `hands ${MOUNTING}`, 'hands spacer', `hands ${PROPELLER}`, 'hands-off', 'supply', 'rig', 'command',
      'pre-warm', 'cool', 'rest', 'start-check', 'check-supply', 'log-environment', 'zero before', 'permit',
    ]);
  });

  test('with everything in place and nothing asked for, the bench is only checked', () => {
    expect(kinds(at({ inPlace: allInPlace(runs[0]), afterRun: true, idle_s: 1 }))).toEqual(['check-supply', 'log-environment', 'permit']);
  });

  test('a half-applied condition is applied again', () => {
    const inPlace = { ...allInPlace(runs[0]), timing_advance: undefined };
    expect(at({ inPlace, afterRun: true }).find((s) => s.step === 'rig')).toEqual({ step: 'rig', parameters: { timing_advance: { text: runs[0].setting.levels.timing_advance.text, value: runs[0].setting.levels.timing_advance.value } } });
  });
});

describe('single steps', () => {
  test('hands carry the checklist and questions of the campaign file, or our own', () => {
    const hands = at({}).filter((s) => s.step === 'hands');
    expect(hands.find((h) => h.condition === 'spacer')).toMatchObject({ checklist: ['Unscrew', 'Swap the spacer', 'Screw down'], ask: ['Photo of the mount'], from: null });
    for (const h of hands) expect(h.checklist.length).toBeGreaterThan(0);
    const manual = planCampaign(scout({ by: { propeller: 'operator', supply: 'operator', mounting: 'operator' } })).runs[0];
    const byHand = changeover({ next: manual, inPlace: { [SUPPLY]: '9 V' }, between: quiet, means: {}, afterRun: false, idle_s: 0 });
    expect(kinds(byHand)).not.toContain('supply');
    expect(byHand.find((s) => s.step === 'hands' && s.condition === SUPPLY)).toMatchObject({ from: '9 V', title: `Set the supply to ${manual.conditions.find((c) => c.name === SUPPLY)?.to} (was 9 V)` });
  });

  test('a command carries its program, read-back and bound; a missing one is an error that names the run', () => {
    expect(at({}).find((s) => s.step === 'command')).toMatchObject({ factor: 'firmware', command: ['./set.sh'], read_back: ['./read.sh'], time_limit_s: 10 });
    expect(() => at({ means: {} })).toThrow('Run 1 changes firmware by a command, but none is given for it.');
  });

  test('the supply step carries the voltage that the run wants', () => {
    const volts = runs.map((next) => at({ next }).flatMap((s) => (s.step === 'supply' ? [s.voltage_V] : [])));
    runs.forEach((r, i) => expect(volts[i]).toEqual([r.protocol === 'kv' ? 3 : 7.6]));
  });

  test('pre-warm comes before the first run, and again only after a longer pause than stated', () => {
    const due = (afterRun: boolean, idle_s: number, after_s: number | null = 600): boolean => kinds(at({ afterRun, idle_s, between: { ...quiet, pre_warm: { throttle: 0.4, for_s: 20, after_s } } })).includes('pre-warm');
    expect([due(false, Infinity), due(true, 600), due(true, 600.001), due(true, 1e9, null)]).toEqual([true, false, true, false]);
  });

  test('no zero is taken where none is asked for, and none after a run that never was', () => {
    expect(kinds(at({ between: full })).filter((k) => k.startsWith('zero'))).toEqual(['zero before']);
    expect(kinds(at({ between: { ...full, zero_s: 0 }, afterRun: true })).filter((k) => k.startsWith('zero'))).toEqual([]);
  });
});

test('followed through a whole plan, the steps leave exactly the wanted conditions in place before every run', () => {
  const inPlace: Record<string, string> = {};
  let calls = 0;
  for (const next of runs) {
    const steps = changeover({ next, inPlace, between: quiet, means, afterRun: next.index > 1, idle_s: 1 });
    for (const s of steps) {
      if (s.step === 'hands') inPlace[s.condition] = s.to;
      if (s.step === 'supply') inPlace[SUPPLY] = `${s.voltage_V} V`;
      if (s.step === 'rig') for (const [name, p] of Object.entries(s.parameters)) inPlace[name] = p.text;
      if (s.step === 'command') inPlace[s.factor] = s.to;
      if (s.step === 'safe-for-hands') calls++;
    }
    expect(inPlace).toEqual({ ...inPlace, ...allInPlace(next) });
    expect(steps.some((s) => s.step === 'hands')).toBe(next.index === 1 ? true : next.needsHands);
  }
  expect(calls).toBe(runs[runs.length - 1].stretch);
});
