// Goal: from records alone the tool finds what the trade knows of one-cell drives, and something else on the demo's two-cell drive.
// Method: campaigns with default protocols on both simulated benches, protocol → record → analysis; every figure is read from the results.
import fs from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import type { Results } from '../../src/model/results';
import { apart, metricOf, playCampaign, resultsOf, valuesOf, type Asked } from './honesty-kit';

const folders: string[] = [];
afterAll(() => { for (const f of folders) fs.rmSync(f, { recursive: true }); });

async function found(asked: Asked): Promise<Results> {
  const folder = fs.mkdtempSync(path.join(os.tmpdir(), 'spoolbench-honesty-'));
  folders.push(folder);
  return resultsOf((await playCampaign(folder, asked)).campaign);
}

const ratio = (values: readonly number[], of: number, to: number): number => values[of] / values[to];
const HEADROOM: Omit<Asked, 'bench'> = {
  protocols: ['response: { high: 100 % }'], repeats: 3, factors: { spool_up_headroom: '35 %, 70 %, 105 %' },
  more: 'margins: { rise_t80_s: 3 ms }\nchoice: { objective: { least: rise_t80_s } }',
};
const FREQUENCY_MARGINS = 'margins: { fall_t80_s: 5 ms, rise_t80_s: 2 ms, full_throttle_rpm: 1 %, hold_rpm: 1 % }';

// Common practice of the trade, no published source: what settings do on a very small motor of high KV on one cell at 4 V.
describe('one cell, 4 V', () => {
  let kv: Results;
  let frequency: Results;
  let headroom: Results;
  beforeAll(async () => {
    kv = await found({ bench: 'tiny', protocols: ['kv: { supply: 4 V }'], repeats: 3, factors: { timing_advance: '0 deg, 7.5 deg, 15 deg, 22.5 deg, 30 deg' }, more: 'margins: { kv_rpm_per_V: 1 % }' });
    frequency = await found({ bench: 'tiny', protocols: ['response', 'thrust-curve', 'efficiency-hold: { current: 1 A }'], repeats: 3, factors: { switching_frequency: '24 kHz, 48 kHz, 96 kHz' }, more: FREQUENCY_MARGINS });
    headroom = await found({ bench: 'tiny', ...HEADROOM });
  }, 120_000);

  test('KV rises with timing advance to 15 degrees, each step told apart, and is flat from there on', () => {
    const v = valuesOf(kv, 'kv_rpm_per_V');
    expect(v[1] / v[0]).toBeGreaterThan(1.005);
    expect(v[2] / v[1]).toBeGreaterThan(1.005);
    expect([apart(kv, 'kv_rpm_per_V', 0, 1), apart(kv, 'kv_rpm_per_V', 1, 2)]).toEqual([true, true]);
    for (const i of [3, 4]) expect(Math.abs(v[i] / v[2] - 1)).toBeLessThan(0.005);
    expect([apart(kv, 'kv_rpm_per_V', 2, 3), apart(kv, 'kv_rpm_per_V', 2, 4), apart(kv, 'kv_rpm_per_V', 3, 4)]).toEqual([false, false, false]);
  });

  test('at 1 A speed gains about 27 % from 24 to 48 kHz and 7 % more to 96 kHz, both told apart; thrust gains twice as much and more', () => {
    const rpm = valuesOf(frequency, 'hold_rpm');
    expect(ratio(rpm, 1, 0)).toBeGreaterThan(1.24);
    expect(ratio(rpm, 1, 0)).toBeLessThan(1.3);
    expect(ratio(rpm, 2, 1)).toBeGreaterThan(1.05);
    expect(ratio(rpm, 2, 1)).toBeLessThan(1.09);
    expect([apart(frequency, 'hold_rpm', 0, 1), apart(frequency, 'hold_rpm', 1, 2)]).toEqual([true, true]);
    expect(ratio(valuesOf(frequency, 'hold_thrust_N'), 1, 0)).toBeGreaterThan(1.5);
    expect(metricOf(frequency, 'hold_rpm').contrasts.map((c) => c.verdict)).toEqual(['better', 'better']);
  });

  test('braking is as fast at 48 as at 24 kHz, and 10 to 20 ms slower at 96 kHz', () => {
    const t = valuesOf(frequency, 'fall_t80_s');
    expect(t[2] - t[0]).toBeGreaterThan(0.01);
    expect(t[2] - t[0]).toBeLessThan(0.02);
    expect(metricOf(frequency, 'fall_t80_s').contrasts.map((c) => c.verdict)).toEqual(['same', 'worse']);
  });

  test('the frequency makes no difference at full throttle that matters', () => {
    expect(metricOf(frequency, 'full_throttle_rpm').contrasts.map((c) => c.verdict)).toEqual(['same', 'same']);
  });

  test('the least sufficient spool-up headroom is the second step: the first doubles the rise, the third gains nothing that matters', () => {
    const t = valuesOf(headroom, 'rise_t80_s');
    expect(ratio(t, 0, 1)).toBeGreaterThan(1.8);
    expect(headroom.choice?.chosen).toContain('70');
    expect(headroom.choice?.best).toContain('105');
  });
});

describe('the demo\'s two-cell drive gives other answers', () => {
  let kv: Results;
  let frequency: Results;
  let headroom: Results;
  beforeAll(async () => {
    kv = await found({ protocols: ['kv: { supply: 3 V }'], repeats: 3, factors: { timing_advance: '0 deg, 8 deg, 16 deg, 24 deg' }, more: 'margins: { kv_rpm_per_V: 1 % }' });
    frequency = await found({ protocols: ['response', 'efficiency-hold: { current: 1.4 A }'], repeats: 3, factors: { switching_frequency: '22 kHz, 44 kHz, 88 kHz' }, more: 'margins: { fall_t80_s: 5 ms, hold_rpm: 1 % }' });
    headroom = await found(HEADROOM);
  }, 120_000);

  test('KV still rises beyond 16 degrees', () => {
    const v = valuesOf(kv, 'kv_rpm_per_V');
    expect(v[3] / v[2]).toBeGreaterThan(1.02);
    expect(apart(kv, 'kv_rpm_per_V', 2, 3)).toBe(true);
  });

  test('the frequency gains a few percent of speed at the hold, a tenth of what it gains on one cell', () => {
    const rpm = valuesOf(frequency, 'hold_rpm');
    expect(ratio(rpm, 1, 0)).toBeGreaterThan(1.01);
    expect(ratio(rpm, 1, 0)).toBeLessThan(1.05);
    expect(ratio(rpm, 2, 1)).toBeLessThan(1.015);
  });

  test('braking is slower already at the middle frequency', () => {
    const t = valuesOf(frequency, 'fall_t80_s');
    expect(t[1] - t[0]).toBeGreaterThan(0.003);
    expect(apart(frequency, 'fall_t80_s', 0, 1)).toBe(true);
  });

  test('the first step of headroom costs a third of the rise time, not all of it again', () => {
    const t = valuesOf(headroom, 'rise_t80_s');
    expect(ratio(t, 0, 1)).toBeGreaterThan(1.2);
    expect(ratio(t, 0, 1)).toBeLessThan(1.5);
  });
});
