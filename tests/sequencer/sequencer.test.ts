// Goal: a run plays its protocol in order, ends in the one right outcome, and never leaves the motor driven.
// Method: real generators on a fake bench in virtual time; the story of orders and log lines is compared.
import { of, throwError } from 'rxjs';
import { describe, expect, test } from 'vitest';
import type { ProtocolSteps } from '../../src/model/segment';
import type { FakeBench } from './fake-bench';
import { tripOf } from './fake-bench';
import { level, mark, play, stepsOf, three } from './play';

describe('a run without trouble', () => {
  test('plays every segment in order and is done once standing still is measured', () => {
    const run = play(three());
    expect(run.outcome()).toMatchObject({ outcome: 'done', stop_confirmed: true, segments_played: 3, trip: null });
    expect(run.outcome().detail).toBe('All 3 segments were played. The motor was measured to stand still: after 40 ms.');
    expect(run.ended_ms()).toBe(640);
    expect(run.bench.story).toEqual([
      'bench permit', 'bench arm', 'bench feed 1 2 3!', 'bench start',
      'log segment-started', 'log segment-ended', 'log segment-started', 'log segment-ended', 'log segment-started', 'log segment-ended',
      'log ended', 'bench stopNow', 'log stopped', 'log outcome done',
    ]);
    expect(run.completed()).toBe(true);
  });

  test('does nothing before it is subscribed to', () => {
    const run = play(three(), { until_ms: 0, before: (bench) => expect(bench.story).toEqual([]) });
    expect(run.bench.bound_s).toBe(10);
  });

  test('marks the last segment, and only the last, as the one after which the queue may run dry', () => {
    const run = play(stepsOf(...Array.from({ length: 30 }, () => level(0.1, 0.2)), mark('after all')));
    expect(run.bench.fed.map((s) => s.ordinal)).toEqual(Array.from({ length: 30 }, (_, i) => i + 1));
    expect(run.bench.fed.filter((s) => s.last).map((s) => s.ordinal)).toEqual([30]);
    expect(run.outcome().outcome).toBe('done');
  });

  test('keeps at least two seconds and four segments ahead, and no whole protocol', () => {
    const ahead: number[] = [];
    const seen = (bench: FakeBench) => bench.events.subscribe((e) => {
      if (e.type === 'segment-started') ahead.push(bench.fed.length - e.ordinal);
    });
    play(stepsOf(...Array.from({ length: 60 }, () => level(0.1, 0.1))), { before: seen });
    expect(Math.min(...ahead.slice(0, 40))).toBeGreaterThanOrEqual(19);
    expect(Math.max(...ahead)).toBeLessThanOrEqual(21);
    const long: number[] = [];
    play(stepsOf(...Array.from({ length: 20 }, () => level(0.1, 5))), {
      options: { bound_s: 1000 }, until_ms: 200_000,
      before: (bench) => bench.events.subscribe((e) => e.type === 'segment-started' && long.push(bench.fed.length - e.ordinal)),
    });
    expect(Math.max(...long)).toBeLessThanOrEqual(4);
    expect(Math.min(...long.slice(0, 15))).toBeGreaterThanOrEqual(3);
  });

  test('writes marks at the moment at which the segment after them starts', () => {
    const run = play(stepsOf(mark('begin'), level(0.1, 0.1), mark('a'), mark('b'), level(0.2, 0.1), mark('end')));
    const marks = run.log.events.filter((e) => e.type === 'mark').map((e) => [e.label, e.tick_us]);
    expect(marks).toEqual([['begin', 0], ['a', 100_000], ['b', 100_000], ['end', 200_000]]);
  });

  test('writes no mark that was not reached', () => {
    const run = play(stepsOf(level(0.1, 0.1), mark('a'), level(0.2, 0.1), mark('never')), { before: (b) => b.at(150, () => b.trip()) });
    expect(run.log.events.filter((e) => e.type === 'mark').map((e) => e.label)).toEqual(['a']);
  });

  test('tells what plays, how many there are and how much time is left', () => {
    const run = play(three());
    const started = run.progress.filter((p) => p.state === 'playing').filter((p, i, all) => p.ordinal !== all[i - 1]?.ordinal);
    expect(started.map((p) => [p.ordinal, p.of, p.label, p.role])).toEqual([[1, 3, 'one', 'level'], [2, 3, 'two', 'level'], [3, 3, 'three', 'level']]);
    expect(started.map((p) => Math.round(p.time_left_s * 1000))).toEqual([600, 500, 300]);
    expect(run.progress.at(-1)).toMatchObject({ state: 'ended', time_left_s: 0 });
  });

  test('reports progress while a long segment plays', () => {
    const run = play(stepsOf(level(0.1, 5.5)), { options: { planned_s: [5.5] } });
    const left = run.progress.filter((p) => p.state === 'playing').map((p) => p.time_left_s);
    expect(left).toEqual([5.5, 4.5, 3.5, 2.5, 1.5, 0.5]);
  });

  test('says every 100 ms that it is alive, from before the permit until the outcome', () => {
    const run = play(three());
    expect(run.bench.beats_ms).toEqual([0, 100, 200, 300, 400, 500, 600]);
  });

  test('counts desyncs and the segments that were ended early by the station as played', () => {
    const wait = { kind: 'wait-until', throttle: 0.1, duration_s: 2, label: 'wait', role: 'start', until: { channel: 'speed', is: 'above', value: 100, for_s: 0 } } as const;
    const run = play(stepsOf(wait, level(0.1, 0.1)), {
      habits: { wait_ms: 300 },
      before: (b) => b.at(50, () => b.say({ type: 'desync', tick_us: 50_000, duration_us: 3000, ordinal: 1 })),
    });
    expect(run.outcome()).toMatchObject({ outcome: 'done', segments_played: 2, desyncs: 1 });
    expect(run.ended_ms()).toBe(440);
  });

  test('carries the closest approach to each limit', () => {
    expect(play(three()).outcome().closest).toEqual([{ limit: 'current_peak', value: 20, bound: 40, unit: 'A', ratio: 0.5, tick_us: 0 }]);
  });

  test('gives the same story twice', () => {
    expect(play(three()).bench.story).toEqual(play(three()).bench.story);
  });
});

describe('a run that may not begin', () => {
  test('is refused with the reasons when there is no permit, and the board is not armed', () => {
    const run = play(three(), { habits: { permit: { granted: false, reasons: ['the lid is open', 'the proof is stale'] } } });
    expect(run.outcome()).toMatchObject({ outcome: 'refused', detail: 'Not armed: the lid is open; the proof is stale.', segments_played: 0 });
    expect(run.bench.story).toEqual(['bench permit', 'log outcome refused']);
  });

  test('is refused when a condition blocks arming', () => {
    const run = play(three(), { habits: { arming: 'refused' } });
    expect(run.outcome()).toMatchObject({ outcome: 'refused', detail: 'Not armed: the motor is at 61 °C (limit 45 °C).' });
    expect(run.bench.story).not.toContain('bench start');
  });

  test.each(['silent', 'error', 'empty'] as const)('fails, and stops, when arming is %s', (arming) => {
    const run = play(three(), { habits: { arming } });
    expect(run.outcome()).toMatchObject({ outcome: 'failed', stop_confirmed: true });
    expect(run.ended_ms()).toBe(arming === 'silent' ? 10_040 : 40);
    expect(run.bench.story).toContain('bench stopNow');
    expect(run.bench.story).not.toContain('bench start');
  });

  test('fails, and stops, when the board is told to start and does not', () => {
    const run = play(three(), { habits: { starts: false } });
    expect(run.outcome()).toMatchObject({ outcome: 'failed', detail: expect.stringContaining('did not start within 2 s') as string });
    expect(run.ended_ms()).toBe(2040);
  });

  test('a stop pressed before it begins keeps it from arming', () => {
    const run = play(three(), { options: { requests: of('stop-now') } });
    expect(run.outcome().outcome).toBe('stopped');
    expect(run.bench.story).toEqual(['bench stopNow', 'log operator', 'log outcome stopped']);
  });
});

describe('ending early', () => {
  test('finish-segment plays the segment to its end and drops the rest', () => {
    const run = play(three(), { before: (b, requests) => b.at(150, () => requests.next('finish-segment')) });
    expect(run.outcome()).toMatchObject({ outcome: 'finished-early', segments_played: 2, stop_confirmed: true });
    expect(run.ended_ms()).toBe(340);
    expect(run.bench.story.filter((s) => s === 'bench finishSegment')).toHaveLength(1);
  });

  test('finish-segment twice is one order', () => {
    const run = play(three(), { before: (b, requests) => [150, 160].forEach((ms) => b.at(ms, () => requests.next('finish-segment'))) });
    expect(run.bench.story.filter((s) => s === 'bench finishSegment')).toHaveLength(1);
    expect(run.outcome().outcome).toBe('finished-early');
  });

  test('stop-now is ordered in the same instant and the outcome follows the measurement', () => {
    const run = play(three(), { before: (b, requests) => b.at(150, () => requests.next('stop-now')) });
    expect(run.outcome()).toMatchObject({ outcome: 'stopped', segments_played: 1, stop_confirmed: true });
    expect(run.outcome().detail).toContain('Stopped at segment 2/3 "two": the operator asked for it.');
    expect(run.ended_ms()).toBe(190);
    const story = run.bench.story;
    expect(story.indexOf('bench stopNow')).toBeLessThan(story.indexOf('log operator'));
  });

  test('stop-now after finish-segment stops at once', () => {
    const run = play(three(), { before: (b, requests) => { b.at(350, () => requests.next('finish-segment')); b.at(400, () => requests.next('stop-now')); } });
    expect(run.outcome().outcome).toBe('stopped');
    expect(run.ended_ms()).toBe(440);
  });

  test.each([1, 2, 10, 100])('hammering stop-now %i times gives one stop after another and one outcome', (times) => {
    const run = play(three(), { before: (b, requests) => { for (let i = 0; i < times; i++) b.at(150 + i, () => requests.next('stop-now')); } });
    expect(run.log.outcomes.map((o) => o.outcome)).toEqual(['stopped']);
    expect(run.bench.story.filter((s) => s === 'bench stopNow').length).toBeGreaterThanOrEqual(Math.min(times, 40));
    expect(run.ended_ms()).toBe(190);
    expect(run.bench.story.at(-1)).toBe('log outcome stopped');
  });

  test('a stop pressed while the motor coasts after the last segment changes nothing about a run that was played', () => {
    const run = play(three(), { before: (b, requests) => b.at(620, () => requests.next('stop-now')) });
    expect(run.outcome().outcome).toBe('done');
    expect(run.bench.story.filter((s) => s === 'bench stopNow').length).toBeGreaterThanOrEqual(2);
  });

  test('a broken line to the operator stops the run', () => {
    const run = play(three(), { options: { requests: throwError(() => new Error('terminal closed')) } });
    expect(run.outcome().outcome).toBe('stopped');
  });

  test('leaving the run stops the motor and writes an outcome, once', () => {
    const run = play(three(), { until_ms: 150 });
    run.subscription.unsubscribe();
    run.bench.runTo(10_000);
    expect(run.log.outcomes).toHaveLength(1);
    expect(run.log.outcomes[0]).toMatchObject({ outcome: 'stop-unconfirmed', stop_confirmed: false });
    expect(run.bench.story.slice(-2)).toEqual(['bench stopNow', 'log outcome stop-unconfirmed']);
    expect(run.bench.beats_ms.at(-1)).toBe(100);
  });
});

describe('trips', () => {
  test('the first cause is the trip, later ones are added in order', () => {
    const run = play(three(), { before: (b) => { b.at(150, () => b.trip('CURRENT_PEAK')); b.at(160, () => b.say({ type: 'tripped', tick_us: 160_000, trip: tripOf('DESYNC_SUSTAINED') })); } });
    expect(run.outcome().trip?.code).toBe('CURRENT_PEAK');
    expect(run.outcome().also.map((t) => t.code)).toEqual(['DESYNC_SUSTAINED']);
    expect(run.outcome().detail).toBe('Trip CURRENT_PEAK at segment 2/3 "two": 41 A for 5 ms (limit 40 A for 5 ms). The motor was measured to stand still: after 40 ms.');
  });

  test('a trip after stop-now is still a trip', () => {
    const run = play(three(), { before: (b, requests) => { b.at(150, () => requests.next('stop-now')); b.at(160, () => b.trip()); } });
    expect(run.outcome().outcome).toBe('tripped');
  });

  test('a trip while the motor coasts after the last segment spoils the run', () => {
    expect(play(three(), { before: (b) => b.at(620, () => b.trip('VOLTAGE_HIGH')) }).outcome().outcome).toBe('tripped');
  });

  test('there is no way for the sequencer to clear a trip', () => {
    const run = play(three(), { before: (b) => b.at(150, () => b.trip()) });
    const orders = new Set(run.bench.story.filter((s) => s.startsWith('bench ')).map((s) => s.split(' ')[1]));
    expect([...orders].sort()).toEqual(['arm', 'feed', 'permit', 'start', 'stopNow']);
  });
});

describe('a stop that is not confirmed', () => {
  test.each([['never measured', { still_ms: null }, 10_600], ['measured as still turning', { confirmed: false }, 640]] as const)('%s: the outcome is stop-unconfirmed and says to cut the power', (_name, habits, ms) => {
    const run = play(three(), { habits });
    expect(run.outcome()).toMatchObject({ outcome: 'stop-unconfirmed', stop_confirmed: false });
    expect(run.outcome().detail).toMatch(/^Cut the power\./);
    expect(run.ended_ms()).toBe(ms);
  });

  test('it outranks a trip, whose cause stays in the outcome', () => {
    const run = play(three(), { habits: { still_ms: null }, before: (b) => b.at(150, () => b.trip()) });
    expect(run.outcome()).toMatchObject({ outcome: 'stop-unconfirmed', trip: { code: 'CURRENT_PEAK' } });
  });

  test('stop-now hammered does not push the bound ahead of itself', () => {
    const run = play(three(), { habits: { still_ms: null }, before: (b, requests) => { for (let ms = 150; ms < 20_000; ms += 50) b.at(ms, () => requests.next('stop-now')); } });
    expect(run.outcome().outcome).toBe('stop-unconfirmed');
    expect(run.ended_ms()).toBe(10_150);
  });
});

describe('time bounds', () => {
  test('the protocol bound goes to the station, and two seconds later the sequencer stops by itself', () => {
    const stuck = play(stepsOf(level(0.1, 100)), { options: { bound_s: 3 } });
    expect(stuck.bench.bound_s).toBe(3);
    expect(stuck.outcome()).toMatchObject({ outcome: 'failed', detail: expect.stringContaining('bound of 3 s passed') as string });
    expect(stuck.ended_ms()).toBe(5040);
  });

  test.each([[4.999, 'done'], [5.001, 'failed']] as const)('a protocol of %d s under a bound of 3 s and its margin is %s', (duration, outcome) => {
    expect(play(stepsOf(level(0.1, duration)), { options: { bound_s: 3 } }).outcome().outcome).toBe(outcome);
  });

  test('the bound is not renewed by finish-segment', () => {
    const run = play(stepsOf(level(0.1, 100)), { options: { bound_s: 3 }, before: (b, requests) => b.at(4000, () => requests.next('finish-segment')) });
    expect(run.outcome().outcome).toBe('failed');
    expect(run.ended_ms()).toBe(5040);
  });
});

describe('starving and cutting', () => {
  test('a board that ran out of segments ends as starved', () => {
    const run = play(three(), { before: (b) => b.at(150, () => b.say({ type: 'ended', tick_us: 150_000, ordinal: 2, how: 'starved' })) });
    expect(run.outcome()).toMatchObject({ outcome: 'starved', stop_confirmed: true, segments_played: 1 });
    expect(run.bench.story).toContain('bench stopNow');
  });

  test('a board that somebody else stopped ends as stopped', () => {
    const run = play(three(), { before: (b) => b.at(150, () => b.stopNow()) });
    expect(run.outcome().outcome).toBe('stopped');
  });
});

describe('a protocol in trouble', () => {
  test.each([0, 1, 5])('that throws after %i segments is stopped as failed with its message', (n) => {
    function* bad(): ProtocolSteps {
      for (let i = 0; i < n; i++) yield level(0.1, 1);
      throw new Error('no such level');
    }
    const run = play(bad());
    expect(run.outcome()).toMatchObject({ outcome: 'failed', stop_confirmed: true });
    expect(run.outcome().detail).toContain('no such level');
    expect(run.bench.story).toContain('bench stopNow');
  });

  test.each([[NaN], [0], [-1], [Infinity]])('a segment of %d s is not fed', (duration) => {
    const run = play(stepsOf(level(0.1, 0.1), level(0.1, duration)));
    expect(run.outcome()).toMatchObject({ outcome: 'failed', detail: expect.stringContaining('no bounded duration') as string });
    expect(run.bench.fed).toEqual([]);
  });

  test('without a segment it is not started', () => {
    const run = play(stepsOf(mark('nothing')));
    expect(run.outcome()).toMatchObject({ outcome: 'failed', detail: expect.stringContaining('no segment') as string });
  });

  test('its own tidying up runs after the outcome is written, and cannot spoil it', () => {
    let story: string[] = [];
    function* tidy(): ProtocolSteps {
      try {
        for (;;) yield level(0.1, 0.5);
      } finally {
        story.push('tidied');
        // eslint-disable-next-line no-unsafe-finally -- a protocol that fails while tidying up is the point here
        throw new Error('broken broom');
      }
    }
    const run = play(tidy(), { before: (b, requests) => { story = b.story; b.at(150, () => requests.next('stop-now')); } });
    expect(story.slice(-2)).toEqual(['log outcome stopped', 'tidied']);
    expect(run.outcome()).toMatchObject({ outcome: 'stopped' });
    expect(run.completed()).toBe(true);
  });
});
