// Goal: a plan that would break a limit is refused before anything turns, with numbers and what is accepted.
// Method: each kind of segment at its bound (accepted) and one step beyond (refused).
import { describe, expect, test } from 'vitest';
import type { ChannelKind } from '../../src/model/channel';
import type { Segment } from '../../src/model/segment';
import { checkEnvelope } from '../../src/safety/envelope';
import { LIMITS } from './build';

const all = new Set<ChannelKind>(['current', 'voltage', 'speed', 'thrust', 'motor_temperature', 'esc_temperature']);
const base = { duration_s: 1, label: 'a step', role: 'level' };
type Shape = Segment extends infer S ? (S extends Segment ? Omit<S, keyof typeof base> & Partial<typeof base> : never) : never;
const check = (shape: Shape, channels: ReadonlySet<ChannelKind> = all, limits = LIMITS) =>
  checkEnvelope([{ ...base, ...shape }], { limits, channels }).map((p) => p.message);
const until = (channel: 'current' | 'voltage' | 'speed' | 'thrust' | 'motor_temperature' | 'esc_temperature', is: 'above' | 'below', value: number) => ({ channel, is, value, for_s: 0 });

describe('a segment within the limits is accepted, one beyond is refused', () => {
  const pairs: [string, Shape, Shape, RegExp][] = [
    ['level', { kind: 'level', throttle: 0.95 }, { kind: 'level', throttle: 0.951 }, /throttle 95\.1 %; accepted: 0 % to 95 % \(`throttle_cap`\)/],
    ['level below zero', { kind: 'level', throttle: 0 }, { kind: 'level', throttle: -0.01 }, /throttle -1 %/],
    ['level that is no number', { kind: 'level', throttle: 0 }, { kind: 'level', throttle: NaN }, /throttle NaN %/],
    ['ramp', { kind: 'ramp', to: 0.95 }, { kind: 'ramp', to: 1 }, /throttle 100 %/],
    ['hold-current', { kind: 'hold-current', target_A: 9 }, { kind: 'hold-current', target_A: 9.1 }, /current 9\.1 A; at most 9 A \(`current_mean`\)/],
    ['hold-current of nothing', { kind: 'hold-current', target_A: 0.1 }, { kind: 'hold-current', target_A: 0 }, /target above zero, not 0/],
    ['hold-power', { kind: 'hold-power', target_W: 81 }, { kind: 'hold-power', target_W: 81.1 }, /power 81\.1 W; at most 81 W/],
    ['hold-speed', { kind: 'hold-speed', target_rpm: 38_000 }, { kind: 'hold-speed', target_rpm: 38_001 }, /speed 38000 rpm; at most 38000 rpm|speed 3\.8/],
    ['wait-until throttle', { kind: 'wait-until', throttle: 0.9, until: until('thrust', 'above', 2) }, { kind: 'wait-until', throttle: 0.96, until: until('thrust', 'above', 2) }, /throttle 96 %/],
    ['wait-until bound', { kind: 'wait-until', throttle: 0, until: until('motor_temperature', 'above', 90) }, { kind: 'wait-until', throttle: 0, until: until('motor_temperature', 'above', 91) }, /waits for a motor temperature above 91, beyond its limit of 90/],
    ['cap', { kind: 'level', throttle: 0.5, cap: 1 }, { kind: 'level', throttle: 0.5, cap: 1.1 }, /cap 110 %/],
    ['duration', { kind: 'rest', duration_s: 0.001 }, { kind: 'rest', duration_s: 0 }, /duration 0 s; accepted: above 0 s, at most 600 s/],
  ];
  test.each(pairs)('%s', (_what, good, bad, words) => {
    expect(check(good)).toEqual([]);
    const problems = check(bad);
    expect(problems).toHaveLength(1);
    expect(problems[0]).toMatch(words);
  });

  test('waiting for less than a value, or for a channel without a limit, is fine', () => {
    expect(check({ kind: 'wait-until', throttle: 0, until: until('motor_temperature', 'below', 200) })).toEqual([]);
    const open = { ...LIMITS, speed: null, thrust: null, motor_temperature: null, esc_temperature: null };
    for (const channel of ['speed', 'thrust', 'motor_temperature', 'esc_temperature'] as const)
      expect(check({ kind: 'wait-until', throttle: 0, until: until(channel, 'above', 1e9) }, all, open)).toEqual([]);
    for (const channel of ['current', 'voltage', 'speed', 'thrust', 'esc_temperature'] as const)
      expect(check({ kind: 'wait-until', throttle: 0, until: until(channel, 'above', 1e9) })).toHaveLength(1);
    expect(check({ kind: 'hold-speed', target_rpm: 1e6 }, all, open)).toEqual([]);
  });
});

test('a hold or a wait on a channel that the rig does not have is refused', () => {
  const few = new Set<ChannelKind>(['current']);
  expect(check({ kind: 'hold-speed', target_rpm: 9000 }, few)).toEqual(['needs the speed channel, which this rig does not have']);
  expect(check({ kind: 'hold-power', target_W: 9 }, few)).toEqual(['needs the voltage channel, which this rig does not have']);
  expect(check({ kind: 'wait-until', throttle: 0, until: until('thrust', 'below', 1) }, few)).toHaveLength(1);
});

test('every problem of every segment is listed with its place, and the whole run against its longest', () => {
  const segments = [
    { ...base, kind: 'level', throttle: 2, cap: 3, label: 'far too much' },
    { ...base, kind: 'rest', duration_s: 59.5, label: 'a rest' },
  ] as unknown as Segment[];
  const problems = checkEnvelope(segments, { limits: LIMITS, channels: all });
  expect(problems.map((p) => [p.segment, p.label])).toEqual([[1, 'far too much'], [1, 'far too much'], [0, '']]);
  expect(problems[2].message).toMatch(/all segments together take 60\.5 s; the rig allows runs of 60 s/);
  const many = Array.from({ length: 65_536 }, (): Segment => ({ ...base, kind: 'rest', duration_s: 1e-4 }));
  expect(checkEnvelope(many, { limits: LIMITS, channels: all }).map((p) => p.message)).toEqual(['65536 segments; a run has at most 65535']);
  expect(checkEnvelope(many.slice(1), { limits: LIMITS, channels: all })).toEqual([]);
});
