// Goal: listing, timing, drawing and checking a protocol is iterating it, and an unsafe step of anybody's protocol is named.
// Method: small protocols with known profiles; each bound of a step from both sides; golden drawings.
import { describe, expect, test } from 'vitest';
import type { ProtocolSteps, Step } from '../../src/model/segment';
import { ask, holdCurrent, holdPower, holdSpeed, level, mark, ramp, repeat, rest, train, waitUntil } from '../../src/protocols/builders';
import { faultsOf } from '../../src/protocols/check-step';
import { draw } from '../../src/protocols/draw';
import { ended } from '../../src/protocols/ending';
import { walk } from '../../src/protocols/walk';
import { builtIn, listed, ready } from './bench';

function* of(...steps: readonly Step[]): ProtocolSteps {
  yield* steps;
}
const speed = { channel: 'speed', is: 'above', value: 1000, for_s: 0.02 } as const;

describe('a walk', () => {
  test('numbers segments, adds up times, and finds the throttle at both ends of each', () => {
    const w = walk(of(level(0.2, 1), mark('here'), ramp(0.6, 2), rest(0.5)));
    expect(w.segments.map((s) => [s.ordinal, s.start_s, s.end_s, s.from, s.to])).toEqual([[1, 0, 1, 0, 0.2], [2, 1, 3, 0.2, 0.6], [3, 3, 3.5, 0.6, 0]]);
    expect(w.marks).toEqual([{ at_s: 1, label: 'here' }]);
    expect(w.duration_s).toBe(3.5);
    expect(w.points).toEqual([{ t_s: 0, throttle: 0 }, { t_s: 0, throttle: 0.2 }, { t_s: 1, throttle: 0.2 }, { t_s: 3, throttle: 0.6 }, { t_s: 3, throttle: 0 }, { t_s: 3.5, throttle: 0 }]);
  });

  test('knows the slope of a slew limit, and a level too short to arrive', () => {
    const w = walk(of(level(0.8, 1, { slew_per_s: 2 }), level(0.1, 0.1, { slew_per_s: 2 })));
    expect(w.points.map((p) => [p.t_s, Number(p.throttle?.toFixed(6))])).toEqual([[0, 0], [0.4, 0.8], [1, 0.8], [1.1, 0.6]]);
  });

  test('does not claim to know the throttle of a closed loop, nor of a ramp that starts in one', () => {
    const w = walk(of(holdCurrent(1, 2), ramp(0, 1)));
    expect(w.segments.map((s) => [s.from, s.to])).toEqual([[0, null], [null, 0]]);
  });

  test('finds the highest demands', () => {
    const w = walk(of(level(0.3, 1), ramp(0.7, 1), holdCurrent(2, 1), holdCurrent(3, 1), holdPower(20, 1), waitUntil(0.2, speed, 1)));
    expect(w.peaks).toEqual({ throttle: 0.7, current_A: 3, power_W: 20, speed_rpm: null });
    expect(walk(of(holdSpeed(9000, 1))).peaks).toEqual({ throttle: 0, current_A: null, power_W: null, speed_rpm: 9000 });
  });

  test('takes a wait-until at its bound, and counts questions', () => {
    const w = walk(of(waitUntil(0.2, speed, 3), level(0.2, 1), ask('current', 0.5)));
    expect(w.duration_s).toBe(4);
    expect(w.asks).toBe(1);
    expect(w.problems).toEqual([]);
  });

  test('adds long sums without losing microseconds', () => {
    expect(walk(of(...Array.from({ length: 1000 }, () => level(0.1, 0.0333)))).duration_s).toBe(33.3);
  });

  test('turns an error of the protocol into a problem, with the place', () => {
    function* bad(): ProtocolSteps {
      yield level(0.1, 1, { label: 'the first' });
      throw new Error('nothing here');
    }
    expect(walk(bad()).problems).toEqual([{ ordinal: 1, label: 'the first', message: 'the protocol failed while it was listed: nothing here' }]);
  });

  test('stops at a protocol that never ends', () => {
    function* endless(): ProtocolSteps {
      for (;;) yield level(0.1, 0.01);
    }
    expect(walk(endless()).problems.map((p) => p.message)).toEqual(['more than 65535 segments; split the protocol']);
  });

  test('a protocol without a segment is a problem', () => {
    expect(walk(of(mark('x'))).problems).toEqual([{ ordinal: 0, label: 'start', message: 'the protocol has no segment' }]);
  });

  test('questions that could not be answered in time are problems', () => {
    expect(walk(of(ask('current', 1), level(0.1, 1))).problems).toHaveLength(1);
    expect(walk(of(waitUntil(0.1, speed, 1), ask('speed', 0.1), level(0.1, 1))).problems[0]?.message).toContain('right after a wait-until');
    expect(walk(of(level(0.1, 1), ask('current', 1), level(0.1, 1))).problems).toEqual([]);
  });
});

describe('what a step must be', () => {
  const good: [string, Step][] = [
    ['shortest', rest(0.001)], ['longest', rest(600)], ['zero throttle', level(0, 1)], ['full throttle', level(1, 1)], ['at its cap', level(0.5, 1, { cap: 0.5 })],
    ['slowest slew', level(0.5, 1, { slew_per_s: 0.1 })], ['condition just within its bound', waitUntil(0.1, { ...speed, for_s: 0.999 }, 1)], ['a label of 80', rest(1, { label: 'x'.repeat(80) })],
    ['a target above zero', holdCurrent(1e-9, 1)], ['an ask of 30 s', ask('current', 30)],
  ];
  const bad: [string, Step, RegExp][] = [
    ['too short', rest(0.0009), /duration/], ['too long', rest(600.001), /accepted: 0.001 s to 600 s/], ['no duration', rest(NaN), /duration/],
    ['below zero', level(-0.0001, 1), /0 % to 100 %/], ['above full', level(1.0001, 1), /throttle/], ['no throttle', ramp(NaN, 1), /throttle/],
    ['above its cap', level(0.5001, 1, { cap: 0.5 }), /own cap of 50 %/], ['cap above full', level(0.5, 1, { cap: 1.1 }), /cap 110 %/],
    ['slew too slow', level(0.5, 1, { slew_per_s: 0.09 }), /slew/], ['condition as long as its bound', waitUntil(0.1, { ...speed, for_s: 1 }, 1), /leave room/],
    ['condition without a number', waitUntil(0.1, { ...speed, value: NaN }, 1), /not a number/], ['no label', rest(1, { label: '' }), /0 characters/],
    ['a label of 81', mark('x'.repeat(81)), /81 characters/], ['no current', holdCurrent(0, 1), /above 0 A/], ['endless power', holdPower(Infinity, 1), /above 0 W/],
    ['negative speed', holdSpeed(-1, 1), /above 0 rpm/], ['an ask of 31 s', ask('current', 31), /over/],
  ];
  test.each(good)('%s is accepted', (_name, step) => expect(faultsOf(step)).toEqual([]));
  test.each(bad)('%s is refused', (_name, step, message) => expect(faultsOf(step).join()).toMatch(message));
});

describe('builders', () => {
  test('a train rises and falls equally often, within its dither, and ends low', () => {
    const s = listed(train({ low: 0.1, high: 0.4, cycles: 3, dwell_s: 0.2, dither_s: 0.01, seed: 3 }, { tags: { block: 2 } }));
    expect(s.map((x) => ('role' in x ? [x.role, x.tags?.step, x.tags?.block] : null))).toEqual([['step-up', 1, 2], ['step-down', 1, 2], ['step-up', 2, 2], ['step-down', 2, 2], ['step-up', 3, 2], ['step-down', 3, 2]]);
    expect(s.at(-1)).toMatchObject({ kind: 'level', throttle: 0.1 });
  });

  test('a train without dither keeps time', () => {
    expect(listed(train({ low: 0.1, high: 0.4, cycles: 2, dwell_s: 0.2, dither_s: 0, seed: 3 })).map((x) => ('duration_s' in x ? x.duration_s : 0))).toEqual([0.2, 0.2, 0.2, 0.2]);
  });

  test('repeat makes its steps anew for every pass', () => {
    expect(listed(repeat(3, (pass) => [mark(`pass ${pass}`)])).map((s) => s.kind === 'mark' && s.label)).toEqual(['pass 1', 'pass 2', 'pass 3']);
  });

  test('labels read like a person wrote them', () => {
    expect([level(0.125, 1), ramp(1, 1), holdCurrent(1.4, 1), holdPower(6.9, 1), holdSpeed(15_000, 1), waitUntil(0.1, speed, 1)].map((s) => s.label)).toEqual([
      'level 12.5 %', 'ramp to 100 %', 'hold 1.4 A', 'hold 6.9 W', 'hold 15000 rpm', 'wait for speed above 1000']);
  });
});

describe('no ending means ramp to zero', () => {
  const last = (steps: ProtocolSteps) => listed(ended(steps)).at(-1);
  test.each([
    ['a level', level(0.5, 1)], ['a ramp up', ramp(0.5, 1)], ['a hold', holdCurrent(1, 1)], ['a wait', waitUntil(0, speed, 1)],
    ['a slow level at zero', level(0, 1, { slew_per_s: 1 })],
  ] as const)('after %s a ramp is added', (_name, step) => expect(last(of(step))).toMatchObject({ kind: 'ramp', to: 0, role: 'ending' }));
  test.each([['a rest', rest(1)], ['a ramp to zero', ramp(0, 1)], ['a level at zero', level(0, 1)]] as const)('after %s nothing is added', (_name, step) => {
    expect(listed(ended(of(step)))).toEqual([step]);
    expect(listed(ended(of(step, mark('after'))))).toHaveLength(2);
  });
  test('a question at the end gets the ramp, so that there is a last segment', () => {
    expect(last(of(rest(1), ask('current', 0.5)))).toMatchObject({ kind: 'ramp', to: 0 });
  });
  test('answers reach the protocol through the added ending', () => {
    const heard: unknown[] = [];
    const steps = ended((function* (): ProtocolSteps {
      yield level(0.1, 1);
      heard.push(yield ask('current', 0.5));
    })());
    steps.next();
    steps.next();
    steps.next(1.5);
    expect(heard).toEqual([1.5]);
  });
});

describe('a drawing', () => {
  test('of thrust-curve at 80 columns', () => {
    const text = draw(walk(ready(builtIn('thrust-curve')).steps()));
    expect(`\n${text}\n`).toMatchInlineSnapshot(`
      "
      100 % ┤                               ⢀⣠⠴⠚⠉⠉⠉⠉⠉⠉⠓⠦⣄⡀
            │                            ⣀⡴⠚⠉            ⠉⠳⢤⣀
            │                        ⣀⡤⠖⠋⠁                  ⠈⠙⠲⢤⣀
            │                    ⢀⣠⠴⠋⠁                          ⠈⠓⠦⣄⡀
       50 % ┤                ⢀⣠⠴⠚⠉                                  ⠉⠓⠦⣄
            │             ⣀⡤⠖⠋                                         ⠈⠙⠲⢤⣀
            │         ⢀⡤⠖⠋⠁                                                ⠈⠙⠲⣄⡀
            │⣀⣀⣀⣀⣀⣀⣠⠴⠚⠉                                                        ⠉⠓⠦⣄⡀
        0 % ┤                                                                      ⠙⠲⢤
            └┴────────────────────────────┴────────────────────────────┴──────────────
            0 s                          5 s                         10 s
      "
    `);
    expect(Math.max(...text.split('\n').map((l) => l.length))).toBeLessThanOrEqual(80);
  });

  test('of efficiency-hold with plain characters, 50 wide: the closed loop is shaded and named', () => {
    expect(`\n${draw(walk(ready(builtIn('efficiency-hold'), { current: 1.4 }).steps()), { width: 50, height: 5, ascii: true })}\n`).toMatchInlineSnapshot(`
      "
      100 % +      .....................................
            |      .....................................
       50 % +      .....................................
            |      .....................................
        0 % +******.....................................
            ++--------------------+--------------------+
            0 s                  2 s                 4 s
             . closed loop: 1.4 A
      "
    `);
  });

  test('of a step response in plain characters', () => {
    expect(`\n${draw(walk(of(rest(1), level(0.5, 1), rest(1), level(1, 1), rest(1))), { width: 40, height: 5, ascii: true })}\n`).toMatchInlineSnapshot(`
      "
      100 % +                   ********
            |                   *      *
       50 % +      ********     *      *
            |      *      *     *      *
        0 % +*******      *******      *******
            ++-------------------------------+
            0 s                            5 s
      "
    `);
  });

  test('plain characters are plain, and no line ends in blanks', () => {
    for (const name of ['kv', 'staircase', 'response', 'spin-up', 'soak']) {
      const w = walk(ready(builtIn(name)).steps());
      expect(draw(w, { ascii: true })).toMatch(/^[\x20-\x7e\n]*$/);
      for (const width of [30, 57, 80, 132]) {
        for (const line of draw(w, { width }).split('\n')) {
          expect(line.length).toBeLessThanOrEqual(width);
          expect(line).toBe(line.trimEnd());
        }
      }
    }
  });
});
