// Goal: in every state, a trip, a stop, a finish, a lost bench and an order out of turn each lead to the right outcome.
// Method: a run on a fake bench is held in the state and then disturbed; the forbidden orders are taken from the run table.
import { describe, expect, test } from 'vitest';
import type { BenchEvent } from '../../src/model/events';
import { RUN_STATES, TABLE } from '../../src/sequencer/machine';
import type { FakeBench } from './fake-bench';
import { play, rest, three } from './play';

/** Brings a run into a state and keeps it there long enough to do something at 5 or 150 or 620 ms. */
const INTO = {
  arming: { habits: { arming: 'silent' as const }, ms: 5, prepare: undefined },
  ready: { habits: { starts: false }, ms: 5, prepare: undefined },
  playing: { habits: {}, ms: 150, prepare: undefined },
  finishing: { habits: {}, ms: 150, prepare: 'finish-segment' as const },
  stopping: { habits: {}, ms: 150, prepare: 'stop-now' as const },
  confirming: { habits: {}, ms: 620, prepare: undefined },
};

describe.each(Object.entries(INTO))('while %s', (state, { habits, ms, prepare }) => {
  const during = (what: (b: FakeBench, ask: (r: 'finish-segment' | 'stop-now') => void) => void) => play(three(), {
    habits,
    before: (b, requests) => {
      if (prepare !== undefined) b.at(ms - 1, () => requests.next(prepare));
      b.at(ms, () => what(b, (r) => requests.next(r)));
    },
  });

  test('a trip is the outcome, with its cause, and the stop is confirmed', () => {
    const run = during((b) => b.trip('MOTOR_TEMPERATURE'));
    expect(run.outcome()).toMatchObject({ outcome: 'tripped', stop_confirmed: true, trip: { code: 'MOTOR_TEMPERATURE' }, also: [] });
    expect(run.outcome().detail).toContain('Trip MOTOR_TEMPERATURE');
    expect(run.bench.story).toContain('bench stopNow');
  });

  test('stop-now stops', () => {
    const run = during((_b, ask) => ask('stop-now'));
    expect(run.outcome()).toMatchObject({ outcome: state === 'confirming' ? 'done' : 'stopped', stop_confirmed: true });
    expect(run.bench.story).toContain('bench stopNow');
    expect(run.ended_ms()).toBeLessThanOrEqual(ms + 40);
  });

  test('finish-segment never counts as success', () => {
    const run = during((_b, ask) => ask('finish-segment'));
    expect(run.outcome().outcome).toBe({ arming: 'finished-early', ready: 'finished-early', playing: 'finished-early', finishing: 'finished-early', stopping: 'stopped', confirming: 'done' }[state]);
  });

  test('a bench that is lost is a failure, and the stop is ordered all the same', () => {
    const run = during((b) => b.events.error(new Error('unplugged')));
    expect(run.outcome()).toMatchObject({ outcome: 'stop-unconfirmed', stop_confirmed: false });
    expect(run.outcome().detail).toContain('unplugged');
    expect(run.bench.story).toContain('bench stopNow');
  });

  const outOfTurn: Readonly<Record<string, BenchEvent>> = {
    started: { type: 'segment-started', tick_us: 0, ordinal: 9, segment: rest(1), throttle: 0 },
    complete: { type: 'ended', tick_us: 0, ordinal: 9, how: 'complete' },
    cleared: { type: 'ended', tick_us: 0, ordinal: 9, how: 'cleared' },
  };
  for (const [input, event] of Object.entries(outOfTurn)) {
    const cell = TABLE[state as keyof typeof INTO][input as 'started'];
    if (cell.kind !== 'never') continue;
    test(`the order "${input}" out of turn stops the run as failed`, () => {
      const run = during((b) => b.say(event));
      expect(run.outcome()).toMatchObject({ outcome: 'failed', stop_confirmed: true });
      expect(run.outcome().detail).toContain(cell.why);
      expect(run.bench.story).toContain('bench stopNow');
    });
  }
});

test('the states a run can be held in are all tried above', () => {
  expect([...Object.keys(INTO), 'idle', 'checking', 'ended'].sort()).toEqual([...RUN_STATES].sort());
});
