// Goal: each built-in protocol does what its page says, with the stated defaults, and stays bounded for any parameters.
// Method: the listed steps are compared with the written procedure; properties over random parameters within bounds.
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { acceptedFor } from '../../src/model/parameters';
import type { Segment } from '../../src/model/segment';
import { SEGMENT_MAX_S, SEGMENT_MIN_S } from '../../src/protocols/check-step';
import { BUILT_IN } from '../../src/protocols/catalogue';
import { type DriveFacts, type Protocol, prepare } from '../../src/protocols/protocol';
import { walk } from '../../src/protocols/walk';
import { FACTS, builtIn, listed, ready, segmentsOf } from './bench';

const brief = (s: Segment): string => `${s.role} ${s.kind} ${s.duration_s}`;

describe('defaults', () => {
  test('kv: no propeller, 3 V, ramp to 100 %, 1 s plateau, soft ramp down', () => {
    const p = ready(builtIn('kv'));
    expect(p.needs).toMatchObject({ propeller: 'off', supply_V: 3, sink: false });
    const s = segmentsOf(builtIn('kv'));
    expect(s.map(brief)).toEqual(['start level 0.5', 'ramp-up ramp 2', 'plateau level 1', 'ramp-down ramp 1']);
    expect(s[1]).toMatchObject({ to: 1 });
    expect(s[2]).toMatchObject({ throttle: 1 });
  });

  test('thrust-curve: 1 s low, 5 s to full, 1 s plateau, 5 s down, then to zero', () => {
    expect(ready(builtIn('thrust-curve')).needs).toMatchObject({ propeller: 'on', supply_V: null, sink: false });
    const s = segmentsOf(builtIn('thrust-curve'));
    expect(s.map(brief)).toEqual(['low level 1', 'ramp-up ramp 5', 'plateau level 1', 'ramp-down ramp 5', 'ending ramp 0.5']);
    expect(s[1]).toMatchObject({ to: 1 });
    expect(s[3]).toMatchObject({ to: 0.1 });
  });

  test('staircase: ten levels from 10 % to 100 % in shuffled order, 2 s each, the first second marked as discarded', () => {
    const s = segmentsOf(builtIn('staircase')).filter((x) => x.role === 'level');
    expect(s.map((x) => x.duration_s)).toEqual(Array.from({ length: 10 }, () => 2));
    const throttles = s.map((x) => (x.kind === 'level' ? x.throttle : NaN));
    const sorted = [...throttles].sort((a, b) => a - b);
    expect(sorted).toEqual([0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1]);
    expect(throttles).not.toEqual(sorted);
    for (const x of s) expect(x).toMatchObject({ slew_per_s: 2, tags: { discard_s: 1, throttle: x.kind === 'level' ? x.throttle : NaN } });
  });

  test('staircase: every pass visits every level once, in an order of its own', () => {
    const s = segmentsOf(builtIn('staircase'), { passes: 3 }).filter((x) => x.role === 'level');
    const orders = [1, 2, 3].map((pass) => s.filter((x) => x.tags?.pass === pass).map((x) => x.tags?.level));
    for (const order of orders) expect([...order].sort((a, b) => Number(a) - Number(b))).toEqual([1, 2, 3, 4, 5, 6, 7, 8, 9, 10]);
    expect(orders[0]).not.toEqual(orders[1]);
    expect(orders[1]).not.toEqual(orders[2]);
  });

  test('response: 30 steps each way between 10 % and 50 %, 0.5 s dwell dithered within 10 ms; a sink is needed', () => {
    expect(ready(builtIn('response')).needs).toMatchObject({ propeller: 'on', sink: true, min_rate_Hz: 500 });
    const s = segmentsOf(builtIn('response'));
    const up = s.filter((x) => x.role === 'step-up');
    const down = s.filter((x) => x.role === 'step-down');
    expect(up.map((x) => x.tags?.step)).toEqual(Array.from({ length: 30 }, (_, i) => i + 1));
    expect(down.map((x) => x.tags?.step)).toEqual(up.map((x) => x.tags?.step));
    for (const x of up) expect(x).toMatchObject({ kind: 'level', throttle: 0.5, tags: { from: 0.1, to: 0.5 } });
    for (const x of down) expect(x).toMatchObject({ kind: 'level', throttle: 0.1, tags: { from: 0.5, to: 0.1 } });
    for (const x of up) expect(x.slew_per_s).toBeUndefined();
    const dwells = [...up, ...down].map((x) => x.duration_s);
    expect(Math.min(...dwells)).toBeGreaterThanOrEqual(0.49);
    expect(Math.max(...dwells)).toBeLessThanOrEqual(0.51);
    expect(Math.max(...dwells) - Math.min(...dwells)).toBeGreaterThan(0.015);
    expect(dwells.reduce((a, b) => a + b, 0) / dwells.length).toBeCloseTo(0.5, 2);
  });

  test('response: fewer than 30 steps each way are refused, 30 are not', () => {
    expect(prepare(builtIn('response'), { steps: 29 }, FACTS)).toMatchObject({ ok: false, problems: [{ path: ['steps'], accepted: 'whole numbers 30 to 1000' }] });
    expect(prepare(builtIn('response'), { steps: 30 }, FACTS).ok).toBe(true);
  });

  test('efficiency-hold: 3 s at constant current with the last 2 s marked as used', () => {
    const s = segmentsOf(builtIn('efficiency-hold'), { current: 1.4 });
    expect(s.map(brief)).toEqual(['start level 0.5', 'hold hold-current 3', 'ramp-down ramp 0.5']);
    expect(s[1]).toMatchObject({ target_A: 1.4, tags: { use_last_s: 2, target_A: 1.4 } });
  });

  test('efficiency-hold: power and speed are held too, two targets are refused', () => {
    expect(segmentsOf(builtIn('efficiency-hold'), { power: 8 })[1]).toMatchObject({ kind: 'hold-power', target_W: 8 });
    expect(segmentsOf(builtIn('efficiency-hold'), { speed: 15_000 })[1]).toMatchObject({ kind: 'hold-speed', target_rpm: 15_000 });
    expect(prepare(builtIn('efficiency-hold'), { power: 8, speed: 15_000 }, FACTS)).toMatchObject({ ok: false, problems: [{ message: 'more than one target is given' }] });
  });

  test('spin-up: 75 starts, each from a rest, waiting for speed within a bound', () => {
    const s = segmentsOf(builtIn('spin-up'));
    expect(s).toHaveLength(300);
    expect(s.slice(0, 4).map(brief)).toEqual(['rest rest 1.5', 'start wait-until 2', 'run level 0.2', 'ramp-down ramp 0.2']);
    const starts = s.filter((x) => x.role === 'start');
    expect(starts.map((x) => x.tags?.start)).toEqual(Array.from({ length: 75 }, (_, i) => i + 1));
    expect(starts[0]).toMatchObject({ until: { channel: 'speed', is: 'above', for_s: 0.02 } });
  });

  test('soak: constant power for five minutes, then a recorded rest', () => {
    const s = segmentsOf(builtIn('soak'), { power: 8 });
    expect(s.map(brief)).toEqual(['start level 0.5', 'soak hold-power 300', 'ramp-down ramp 1', 'cool rest 60']);
  });
});

describe('targets taken from the article', () => {
  test('power at hover is the ideal rotor power over 0.4, the current is that power over the voltage', () => {
    // Momentum theory (W. J. M. Rankine, Trans. Inst. Naval Architects 6, 1865): T^1.5 / sqrt(2 rho A), rho = 1.225 kg/m³ (ISO 2533).
    const ideal_W = 0.44 ** 1.5 / Math.sqrt(2 * 1.225 * Math.PI * 0.0381 ** 2);
    expect(ideal_W).toBeCloseTo(2.761, 3);
    const soak = ready(builtIn('soak'));
    expect(soak.values.power).toBe(Number((ideal_W / 0.4).toPrecision(2)));
    expect(soak.notes.join()).toContain('about hover');
    expect(ready(builtIn('efficiency-hold')).values.current).toBeCloseTo(6.9 / 7.6, 2);
  });

  test('without a declared hover thrust it is a quarter of the maximum current', () => {
    const facts: DriveFacts = { ...FACTS, hover_thrust_N: null };
    const p = ready(builtIn('efficiency-hold'), {}, facts);
    expect(p.values.current).toBeCloseTo(9 / 4, 1);
    expect(p.notes.join()).toContain('25 % of the declared maximum current');
  });

  test('it is never more than half of the maximum current', () => {
    expect(ready(builtIn('efficiency-hold'), {}, { ...FACTS, hover_thrust_N: 20 }).values.current).toBeLessThanOrEqual(4.6);
  });

  test('a given target wins and leaves no note', () => {
    const p = ready(builtIn('efficiency-hold'), { current: 1.4 });
    expect(p.values.current).toBe(1.4);
    expect(p.notes).toEqual([]);
  });

  test('spin-up waits for 60 % of throttle times KV times voltage', () => {
    const p = ready(builtIn('spin-up'));
    expect(p.values.speed).toBe(Number((0.6 * 0.15 * 4500 * 7.6).toPrecision(2)));
  });

  test('a target out of bounds says where it came from', () => {
    const huge = prepare(builtIn('soak'), {}, { ...FACTS, max_current_A: 5000, hover_thrust_N: null });
    expect(huge).toMatchObject({ ok: false, problems: [{ path: ['power'], message: expect.stringMatching(/25 % of the declared maximum.*give it yourself/s) as string }] });
  });
});

describe('bounds', () => {
  const edges = BUILT_IN.flatMap((p) => Object.entries(p.parameters).map(([key, declared]) => ({ protocol: p.name, key, declared })));

  test.each(edges)('$protocol.$key: its ends are accepted as such, values just outside are not', ({ protocol, key, declared }) => {
    const whole = declared.dimension === 'count' || declared.dimension === 'seed';
    const nudge = (x: number): number => (whole ? 1 : Math.max(1e-9, Math.abs(x) * 1e-6));
    const complaints = (value: number) => {
      const result = prepare(builtIn(protocol), { [key]: value }, FACTS);
      return result.ok ? [] : result.problems.filter((p) => p.path[0] === key && p.accepted === acceptedFor(declared));
    };
    expect(complaints(declared.min)).toEqual([]);
    expect(complaints(declared.max)).toEqual([]);
    expect(complaints(declared.min - nudge(declared.min))).toHaveLength(1);
    expect(complaints(declared.max + nudge(declared.max))).toHaveLength(1);
    expect(complaints(NaN)).toHaveLength(1);
    if (declared.default !== null) expect(declared.default >= declared.min && declared.default <= declared.max).toBe(true);
    else expect(declared.when_absent).toBeDefined();
  });

  test.each([
    ['thrust-curve', { low: 0.5, high: 0.5 }, 'high'], ['staircase', { low: 0.5, high: 0.5 }, 'high'], ['staircase', { discard: 2 }, 'discard'],
    ['staircase', { slew: 0.5 }, 'slew'], ['response', { low: 0.5, high: 0.5 }, 'high'], ['response', { dither: 0.126 }, 'dither'],
    ['efficiency-hold', { use_last: 3 }, 'use_last'], ['efficiency-hold', { cap: 0.05 }, 'cap'], ['spin-up', { steady: 1, within: 1 }, 'steady'],
    ['soak', { cap: 0.05 }, 'cap'],
  ] as const)('%s refuses %o as a contradiction', (name, given, key) => {
    expect(prepare(builtIn(name), given, FACTS)).toMatchObject({ ok: false, problems: [{ path: [key] }] });
  });

  test.each([
    ['thrust-curve', { low: 0.5, high: 0.51 }], ['staircase', { discard: 1.99 }], ['staircase', { slew: 0.9 }], ['response', { dither: 0.125 }],
    ['efficiency-hold', { use_last: 2.9 }], ['efficiency-hold', { cap: 0.1 }], ['spin-up', { steady: 0.99, within: 1 }],
  ] as const)('%s accepts %o just on the other side', (name, given) => {
    expect(prepare(builtIn(name), given, FACTS).ok).toBe(true);
  });

  test('a fast staircase needs a sink, a slow one does not', () => {
    expect(ready(builtIn('staircase'), { slew: 4 }).needs.sink).toBe(false);
    expect(ready(builtIn('staircase'), { slew: 4.01 }).needs.sink).toBe(true);
  });
});

/** Any values within bounds, most keys left at their defaults. */
function anyValues(protocol: Protocol): fc.Arbitrary<Record<string, number>> {
  const one = Object.entries(protocol.parameters).map(([key, d]) => {
    const value = d.dimension === 'count' || d.dimension === 'seed' ? fc.integer({ min: d.min, max: Math.min(d.max, d.min + 100) }) : fc.double({ min: d.min, max: d.max, noNaN: true });
    return [key, fc.option(value, { nil: undefined, freq: 2 })] as const;
  });
  return fc.record(Object.fromEntries(one)).map((r) => Object.fromEntries(Object.entries(r).filter((e): e is [string, number] => e[1] !== undefined)));
}

describe.each(BUILT_IN.map((p) => [p.name, p] as const))('%s with any parameters', (name, protocol) => {
  test('every segment is bounded and named, the throttle stays within 0..1 and ends at zero', () => {
    let accepted = 0;
    fc.assert(fc.property(anyValues(protocol), (given) => {
      const prepared = prepare(protocol, given, FACTS);
      if (!prepared.ok) return;
      accepted++;
      const w = walk(prepared.value.steps());
      expect(w.problems).toEqual([]);
      expect(w.duration_s).toBeCloseTo(w.segments.reduce((sum, s) => sum + s.segment.duration_s, 0), 3);
      const bad = w.segments.filter(({ segment: s }) => !(s.duration_s >= SEGMENT_MIN_S && s.duration_s <= SEGMENT_MAX_S && /^[a-z][a-z-]*$/.test(s.role)));
      expect(bad).toEqual([]);
      expect(w.points.filter((p) => p.throttle !== null && !(p.throttle >= 0 && p.throttle <= 1))).toEqual([]);
      expect(w.points.at(-1)?.throttle).toBe(0);
    }), { seed: 7, numRuns: 60 });
    expect(accepted).toBeGreaterThan(10);
  });

  test('iterated twice it gives equal, frozen steps', () => {
    const p = ready(protocol);
    const steps = listed(p.steps());
    expect(listed(p.steps())).toEqual(steps);
    for (const s of steps) {
      expect(Object.isFrozen(s)).toBe(true);
      if ('tags' in s && s.tags !== undefined) expect(Object.isFrozen(s.tags)).toBe(true);
    }
  });

  test('it brakes softly at the end: the last change of throttle to zero is a ramp', () => {
    const driven = segmentsOf(protocol).filter((s) => s.kind !== 'rest');
    expect(driven.at(-1)).toMatchObject({ kind: 'ramp', to: 0 });
    expect(name).toBe(protocol.name);
  });
});

test.each([['response', 'seed'], ['staircase', 'seed']] as const)('%s: another seed gives another sequence', (name, key) => {
  expect(segmentsOf(builtIn(name), { [key]: 1 })).toEqual(segmentsOf(builtIn(name), { [key]: 1 }));
  expect(segmentsOf(builtIn(name), { [key]: 2 })).not.toEqual(segmentsOf(builtIn(name), { [key]: 1 }));
});
