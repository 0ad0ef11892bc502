// Goal: a protocol that asks gets the mean of fresh, valid samples in SI, early enough that the board never runs dry.
// Method: a fake bench whose current is a known function of time; what the generator received is compared with arithmetic.
import { describe, expect, test } from 'vitest';
import type { Ask, ProtocolSteps } from '../../src/model/segment';
import { ask, level, play, stepsOf } from './play';

/** Plays 1 s at a level, asks, and plays a second segment. */
function asking(heard: (number | undefined)[], ...asks: Ask[]) {
  return (function* (): ProtocolSteps {
    yield level(0.1, 1);
    for (const a of asks) heard.push(yield a);
    yield level(0.2, 0.5);
  })();
}

describe('an answer', () => {
  test('is the mean of the last part of the segment, which ends 100 ms before the segment does', () => {
    const heard: (number | undefined)[] = [];
    // The current rises by 1 mA each ms: rows at 701 … 900 ms have a mean of 800.5 mA.
    const run = play(asking(heard, ask(0.2)), { habits: { sample: (kind, tick) => ({ counts: kind === 'current' ? tick / 1000 : 0, fresh: true, valid: true }) } });
    expect(heard).toHaveLength(1);
    expect(heard[0]).toBeCloseTo(0.8005, 9);
    expect(run.outcome().outcome).toBe('done');
    expect(run.bench.fed.map((s) => s.last)).toEqual([false, true]);
  });

  test('takes only samples that are fresh and valid', () => {
    const heard: (number | undefined)[] = [];
    const sample = (_kind: string, tick: number) => {
      const third = Math.round(tick / 1000) % 3;
      return { counts: third === 0 ? 500 : 9000, fresh: third !== 1, valid: third !== 2 };
    };
    play(asking(heard, ask(0.3)), { habits: { sample } });
    expect(heard[0]).toBeCloseTo(0.5, 12);
  });

  test('is undefined when no sample was good, and the protocol goes on', () => {
    const heard: (number | undefined)[] = [];
    const run = play(asking(heard, ask(0.3)), { habits: { sample: () => ({ counts: 1, fresh: true, valid: false }) } });
    expect(heard).toEqual([undefined]);
    expect(run.outcome().outcome).toBe('done');
  });

  test('is undefined for a channel that the bench does not have', () => {
    const heard: (number | undefined)[] = [];
    expect(play(asking(heard, ask(0.3, 'thrust'))).outcome().outcome).toBe('done');
    expect(heard).toEqual([undefined]);
  });

  test('covers at most the segment itself', () => {
    const heard: (number | undefined)[] = [];
    play(asking(heard, ask(30)), { habits: { sample: (_k, tick) => ({ counts: tick / 1000, fresh: true, valid: true }) } });
    expect(heard[0]).toBeCloseTo(0.4505, 9);
  });

  test('to several questions about one segment comes from the same part of it', () => {
    const heard: (number | undefined)[] = [];
    const run = play(asking(heard, ask(0.2), ask(0.2, 'speed'), ask(0.1)), {
      habits: { sample: (kind, tick) => ({ counts: kind === 'current' ? tick / 1000 : 7000, fresh: true, valid: true }) },
    });
    expect(heard.map((h) => Number(h?.toFixed(6)))).toEqual([0.8005, 7000, 0.8505]);
    expect(run.outcome().outcome).toBe('done');
  });

  test('decides what is played next', () => {
    function* seeking(): ProtocolSteps {
      let throttle = 0.1;
      for (let i = 0; i < 5; i++) {
        yield level(throttle, 0.5);
        const current = yield ask(0.1);
        if (current === undefined) return;
        throttle += current / 10;
      }
    }
    const run = play(seeking(), { habits: { sample: () => ({ counts: 500, fresh: true, valid: true }) } });
    expect(run.bench.fed.map((s) => (s.segment.kind === 'level' ? Number(s.segment.throttle.toFixed(3)) : null))).toEqual([0.1, 0.15, 0.2, 0.25, 0.3]);
    // The last question was about a segment that was not announced as the last: the board ends at zero, as starved.
    expect(run.outcome().outcome).toBe('starved');
  });

  test('before any segment is undefined at once', () => {
    const heard: (number | undefined)[] = [];
    function* early(): ProtocolSteps {
      heard.push(yield ask(1));
      yield level(0.1, 0.1);
    }
    expect(play(early()).outcome().outcome).toBe('done');
    expect(heard).toEqual([undefined]);
  });

  test('for a segment shorter than the lead comes in the middle of it', () => {
    const heard: (number | undefined)[] = [];
    function* short(): ProtocolSteps {
      yield level(0.1, 0.1);
      heard.push(yield ask(1));
      yield level(0.1, 0.1);
    }
    const run = play(short(), { habits: { sample: (_k, tick) => ({ counts: tick / 1000, fresh: true, valid: true }) } });
    expect(heard[0]).toBeCloseTo(0.0255, 9);
    expect(run.outcome().outcome).toBe('done');
  });

  test('does not come when the run is stopped first', () => {
    const heard: (number | undefined)[] = [];
    const run = play(asking(heard, ask(0.2)), { before: (b, requests) => b.at(500, () => requests.next('stop-now')) });
    expect(heard).toEqual([]);
    expect(run.outcome().outcome).toBe('stopped');
  });
});

test('a protocol without questions is fed in one go as far as two seconds reach', () => {
  const run = play(stepsOf(level(0.1, 0.6), level(0.1, 0.6), level(0.1, 0.6), level(0.1, 0.6)));
  expect(run.bench.story.filter((s) => s.startsWith('bench feed'))).toEqual(['bench feed 1 2 3 4!']);
});
