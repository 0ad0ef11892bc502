// Goal: whatever comes together, in whatever order, a run has exactly one outcome and the motor is told to stop before it.
// Method: random protocols, trips, stops, finishes, lost streams and unruly events at random times, from seeds.
import fc from 'fast-check';
import { expect, test } from 'vitest';
import type { FakeBench } from './fake-bench';
import { level, play, stepsOf } from './play';
import { tripOf } from './fake-bench';

const DEEDS = {
  'stop-now': (_b: FakeBench, ask: (r: 'stop-now' | 'finish-segment') => void) => ask('stop-now'),
  'finish-segment': (_b: FakeBench, ask: (r: 'stop-now' | 'finish-segment') => void) => ask('finish-segment'),
  'trip': (b: FakeBench) => b.trip(),
  'second trip': (b: FakeBench) => b.say({ type: 'tripped', tick_us: b.now_us, trip: tripOf('STALL') }),
  'starved': (b: FakeBench) => b.say({ type: 'ended', tick_us: b.now_us, ordinal: 1, how: 'starved' }),
  'cleared': (b: FakeBench) => b.say({ type: 'ended', tick_us: b.now_us, ordinal: 1, how: 'cleared' }),
  'complete': (b: FakeBench) => b.say({ type: 'ended', tick_us: b.now_us, ordinal: 1, how: 'complete' }),
  'foreign stop': (b: FakeBench) => b.stopNow(),
  'still': (b: FakeBench) => b.say({ type: 'stopped', tick_us: b.now_us, confirmed: true, took_us: 1, detail: '' }),
  'lost events': (b: FakeBench) => b.events.complete(),
  'lost samples': (b: FakeBench) => b.blocks.error(new Error('cut')),
} as const;
const names = Object.keys(DEEDS) as (keyof typeof DEEDS)[];

test('one outcome, one stop before it, no order after it', () => {
  const seen = new Set<string>();
  fc.assert(fc.property(
    fc.array(fc.integer({ min: 1, max: 400 }), { minLength: 1, maxLength: 12 }),
    fc.array(fc.record({ ms: fc.integer({ min: 0, max: 2000 }), deed: fc.constantFrom(...names) }), { maxLength: 4 }),
    fc.constantFrom(null, 5, 40), fc.constantFrom('granted' as const, 'refused' as const, 'silent' as const), fc.integer({ min: 1, max: 400 }),
    (durations, deeds, still_ms, arming, failsAt) => {
      const run = play(stepsOf(...durations.map((ms) => level(0.1, ms / 1000))), {
        habits: { still_ms, arming },
        fails: (write) => write === failsAt,
        before: (b, requests) => {
          for (const { ms, deed } of deeds) b.at(ms, () => DEEDS[deed](b, (r) => requests.next(r)));
        },
      });
      const story = run.bench.story;
      const outcome = run.outcome();
      seen.add(outcome.outcome);
      expect(run.completed()).toBe(true);
      expect(run.progress.filter((p) => p.outcome !== null)).toHaveLength(1);
      expect(run.log.outcomes.length).toBeLessThanOrEqual(1);
      if (story.includes('bench start')) expect(story).toContain('bench stopNow');
      if (run.log.outcomes.length === 1) {
        const after = story.slice(story.findIndex((s) => s.startsWith('log outcome')) + 1).filter((s) => s !== 'bench stopNow');
        expect(after).toEqual([]);
      }
      if (outcome.outcome === 'done') {
        expect(outcome.stop_confirmed).toBe(true);
        expect(outcome.trip).toBeNull();
      }
      if (outcome.trip !== null) expect(['tripped', 'failed', 'stop-unconfirmed']).toContain(outcome.outcome);
      expect(run.bench.beats_ms.every((ms) => ms <= run.ended_ms())).toBe(true);
    },
  ), { seed: 42, numRuns: 600 });
  expect([...seen].sort()).toEqual(['done', 'failed', 'finished-early', 'refused', 'starved', 'stop-unconfirmed', 'stopped', 'tripped']);
});
