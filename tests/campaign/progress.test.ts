// Goal: at any moment n of m, the bench time left and the next call for hands are right, and get better as runs are measured.
// Method: a planned campaign played with known overheads; resumed, skipped and held campaigns; figures against plain means.
import { describe, expect, test } from 'vitest';
import { planCampaign } from '../../src/campaign/plan';
import { PROPELLER } from '../../src/campaign/plan-input';
import { FigureBoard, ProgressMeter } from '../../src/campaign/progress';
import { Ledger } from '../../src/campaign/resume';
import { FINGERPRINT } from './drive';
import { scout } from './inputs';

const plan = planCampaign(scout({ by: { propeller: 'operator', supply: 'supply', mounting: 'rig' }, inPlace: { [PROPELLER]: 'on' } }));
const play = (meter: ProgressMeter, ledger: Ledger, upTo: number, extra_s: number): void => {
  for (let run = ledger.goodRuns + 1; run <= upTo; run++) {
    ledger.apply({ type: 'started', run, attempt: 1 });
    ledger.apply({ type: 'ended', run, attempt: 1, outcome: 'done' });
    const r = plan.runs[run - 1];
    meter.ended(run, r.before_s + r.duration_s + extra_s, true);
  }
};

describe('progress', () => {
  test('starts with the planned time and the planned call for hands', () => {
    const reading = new ProgressMeter(plan.runs).reading(new Ledger(plan.runs, FINGERPRINT));
    expect(reading).toMatchObject({ of: 240, good: 0, skipped: 0, run: 1, excess_s: 0 });
    expect(reading.left_s).toBeCloseTo(plan.estimate.total_s, 6);
    expect(reading.nextHands).toMatchObject({ run: 181, what: ['Take the propeller off'] });
    expect(reading.nextHands?.in_s).toBeCloseTo(plan.estimate.stretches[0].alone_s, 6);
  });

  test('runs that take 3 s longer than planned add 3 s for each run to come', () => {
    const meter = new ProgressMeter(plan.runs);
    const ledger = new Ledger(plan.runs, FINGERPRINT);
    play(meter, ledger, 100, 3);
    const reading = meter.reading(ledger);
    const planned = plan.runs.slice(100).reduce((s, r) => s + r.before_s + r.duration_s, 0);
    expect(reading).toMatchObject({ good: 100, run: 101 });
    expect(reading.left_s).toBeCloseTo(planned + 140 * 3, 6);
    const alone = plan.runs.slice(100, 180).reduce((s, r) => s + r.before_s + r.duration_s, 0);
    expect(reading.nextHands?.in_s).toBeCloseTo(alone + 80 * 3, 6);
  });

  test('follows a change of pace within some tens of runs', () => {
    const meter = new ProgressMeter(plan.runs);
    const ledger = new Ledger(plan.runs, FINGERPRINT);
    play(meter, ledger, 100, 0);
    play(meter, ledger, 150, 10);
    // Fifty runs at weight 0.1: 1 − 0.9^50 = 99.5 % of the new pace.
    expect(meter.reading(ledger).excess_s).toBeCloseTo(10 * (1 - 0.9 ** 50), 9);
  });

  test('at the end nothing is left and nobody is needed; faster runs never make the time negative', () => {
    const meter = new ProgressMeter(plan.runs);
    const ledger = new Ledger(plan.runs, FINGERPRINT);
    play(meter, ledger, 239, -1000);
    expect(meter.reading(ledger).left_s).toBe(0);
    expect(meter.reading(ledger).nextHands).toBeNull();
    play(meter, ledger, 240, 0);
    expect(meter.reading(ledger)).toMatchObject({ good: 240, run: null, left_s: 0, nextHands: null });
  });

  test('an attempt that failed does not shorten what is left', () => {
    const meter = new ProgressMeter(plan.runs);
    const ledger = new Ledger(plan.runs, FINGERPRINT);
    ledger.apply({ type: 'started', run: 1, attempt: 1 });
    ledger.apply({ type: 'ended', run: 1, attempt: 1, outcome: 'tripped', trip: 'STALL' });
    meter.ended(1, plan.runs[0].before_s + plan.runs[0].duration_s, false);
    expect(meter.reading(ledger)).toMatchObject({ good: 0, run: 1 });
    expect(meter.reading(ledger).left_s).toBeCloseTo(plan.estimate.total_s, 6);
    ledger.apply({ type: 'decided', what: 'stop', by: 'tool', run: 1, why: '' });
    expect(meter.reading(ledger).run).toBe(1);
  });

  test('a resumed campaign and a skipped setting count as gone', () => {
    const ledger = new Ledger(plan.runs, FINGERPRINT);
    play(new ProgressMeter(plan.runs), ledger, 60, 0);
    ledger.apply({ type: 'started', run: 61, attempt: 1 });
    ledger.apply({ type: 'ended', run: 61, attempt: 1, outcome: 'tripped', trip: 'STALL' });
    ledger.apply({ type: 'decided', what: 'skip-setting', by: 'tool', run: 61, why: '' });
    const meter = new ProgressMeter(plan.runs);
    meter.takeOver(ledger);
    meter.takeOver(ledger);
    const left = plan.runs.filter((r) => r.index > 60 && r.setting.id !== plan.runs[60].setting.id);
    expect(meter.reading(ledger)).toMatchObject({ good: 60, skipped: 180 - left.length });
    expect(meter.reading(ledger).left_s).toBeCloseTo(left.reduce((s, r) => s + r.before_s + r.duration_s, 0), 6);
  });
});

test('running figures are the plain means so far and the latest; what is not finite is refused', () => {
  const board = new FigureBoard();
  const values = [27_100, 27_400, 26_900, 27_000];
  values.forEach((v) => board.note('s1', 'full_throttle_rpm', v, 'rpm'));
  board.note('s2', 'full_throttle_rpm', 1, 'rpm');
  expect(board.of('s1').get('full_throttle_rpm')).toEqual({ unit: 'rpm', n: 4, mean: 27_100, latest: 27_000 });
  expect([board.settings(), board.of('s3').size]).toEqual([['s1', 's2'], 0]);
  expect(() => { board.note('s1', 'rise_ms', NaN, 'ms'); }).toThrow(/rise_ms of s1 is NaN/);
});
