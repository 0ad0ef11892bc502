// Goal: whatever fails - the log, a verb of the bench, one of its streams - the motor is stopped and there is one outcome.
// Method: fail the n-th write, for every n until the run passes untouched, once and for good; break each verb; end each stream.
import { describe, expect, test } from 'vitest';
import { play, three } from './play';

const untouched = play(three());

describe('a log that fails', () => {
  for (const kind of ['once', 'for good'] as const) {
    test(`at any write, ${kind}: the run is stopped, and says so`, () => {
      expect(untouched.log.writes).toBeGreaterThan(60);
      for (let n = 1; n <= untouched.log.writes; n++) {
        const run = play(three(), { fails: (write) => (kind === 'once' ? write === n : write >= n) });
        const outcome = run.outcome();
        const where = `write ${n} of ${untouched.log.writes}`;
        expect(run.bench.story.includes('bench stopNow'), where).toBe(true);
        expect(run.completed(), where).toBe(true);
        expect(outcome, where).toMatchObject({ outcome: 'tripped', trip: { code: 'CANNOT_RECORD', by: 'station' } });
        expect(outcome.detail, where).toContain('no space left on device');
        expect(outcome.stop_confirmed, where).toBe(true);
      }
    });
  }

  test('while a segment plays: zero throttle in the same instant, and no block is written after the gap', () => {
    const run = play(three(), { fails: (_write, what) => what === 'block' });
    expect(run.log.blocks).toBe(0);
    expect(run.ended_ms()).toBe(50);
    expect(run.bench.story.slice(-6)).toEqual(['bench stopNow', 'log segment-ended', 'log ended', 'bench stopNow', 'log stopped', 'log outcome tripped']);
    expect(run.outcome().detail).toContain('Trip CANNOT_RECORD at segment 1/3 "one": the record could not be written: no space left on device.');
  });
});

describe('a verb of the bench that fails', () => {
  test.each(['feed', 'start', 'beat', 'permit'] as const)('%s: the run fails and the motor is stopped', (breaks) => {
    const run = play(three(), { habits: { breaks } });
    expect(run.outcome().outcome).toBe('failed');
    expect(run.outcome().detail).toContain(`${breaks} broke`);
    expect(run.outcome().stop_confirmed).toBe(breaks !== 'beat');
    expect(run.bench.story.includes('bench stopNow')).toBe(breaks !== 'beat');
    expect(run.bench.story.includes('bench arm')).toBe(breaks === 'feed' || breaks === 'start');
  });

  test('finishSegment: the run is stopped instead', () => {
    const run = play(three(), { habits: { breaks: 'finishSegment' }, before: (b, requests) => b.at(150, () => requests.next('finish-segment')) });
    expect(run.outcome()).toMatchObject({ outcome: 'failed', stop_confirmed: true });
    expect(run.ended_ms()).toBe(190);
  });

  test('stopNow: the outcome is stop-unconfirmed', () => {
    const run = play(three(), { habits: { breaks: 'stopNow' }, before: (b, requests) => b.at(150, () => requests.next('stop-now')) });
    expect(run.outcome()).toMatchObject({ outcome: 'stop-unconfirmed', stop_confirmed: false });
    expect(run.outcome().detail).toContain('stopNow broke');
  });

  test('closest: the outcome is not lost', () => {
    expect(play(three(), { habits: { breaks: 'closest' } }).outcome()).toMatchObject({ outcome: 'done', closest: [] });
  });
});

describe('a stream of the bench that ends', () => {
  test.each(['events', 'blocks'] as const)('%s complete in the middle of a segment: the motor is stopped', (stream) => {
    const run = play(three(), { before: (b) => b.at(150, () => b[stream].complete()) });
    expect(run.bench.story).toContain('bench stopNow');
    expect(run.outcome().outcome).toBe(stream === 'events' ? 'stop-unconfirmed' : 'failed');
    expect(run.outcome().detail).toContain(`sends no more ${stream === 'events' ? 'events' : 'samples'}`);
  });

  test('samples with an error: the error is named', () => {
    const run = play(three(), { before: (b) => b.at(150, () => b.blocks.error(new Error('cable'))) });
    expect(run.outcome().detail).toContain('cable');
  });
});
