// Goal: stop is the rule; retry and skip only where listed; three runs on one code and a person's stop are never gone over.
// Method: each rule on both sides, alone and through a whole campaign driven on a journal.
import { describe, expect, test } from 'vitest';
import { planCampaign } from '../../src/campaign/plan';
import { readJournal } from '../../src/campaign/journal';
import { decideAfter, type TripHistory, type TripPolicy } from '../../src/campaign/trips';
import { OUTCOMES, type Outcome } from '../../src/model/events';
import { TRIP_CODES } from '../../src/model/trip';
import { Disk, session, STOP_ALWAYS, type Fate } from './drive';
import { factorOf, scout, use } from './inputs';

const history = (runs: number, retries: number): TripHistory => ({ runsTrippedOn: () => runs, retriesOf: () => retries });
const tripped = { run: 7, outcome: 'tripped', trip: 'STALL' } as const;
const retryStall: TripPolicy = { retry_once: ['STALL'], skip_setting: [] };
const skipStall: TripPolicy = { retry_once: [], skip_setting: ['STALL'] };
const both: TripPolicy = { retry_once: ['STALL'], skip_setting: ['STALL'] };

describe('one decision', () => {
  test('a good run goes on; every other end but a trip stops, whatever is listed', () => {
    const listsAll: TripPolicy = { retry_once: TRIP_CODES, skip_setting: TRIP_CODES };
    for (const outcome of OUTCOMES.filter((o): o is Exclude<Outcome, 'tripped'> => o !== 'tripped')) {
      expect(decideAfter({ run: 1, outcome }, listsAll, history(0, 0)).what).toBe(outcome === 'done' ? 'go-on' : 'stop');
    }
  });

  test('an unlisted trip stops; a listed one is retried once, then stops', () => {
    expect(decideAfter(tripped, STOP_ALWAYS, history(1, 0)).what).toBe('stop');
    expect(decideAfter({ ...tripped, trip: 'TREND' }, retryStall, history(1, 0)).what).toBe('stop');
    expect(decideAfter(tripped, retryStall, history(1, 0)).what).toBe('retry');
    expect(decideAfter(tripped, retryStall, history(1, 1))).toEqual({ what: 'stop', why: 'Run 7 tripped on STALL again after its one retry.' });
  });

  test('a code listed to skip leaves its setting out; listed under both it is first retried', () => {
    expect(decideAfter(tripped, skipStall, history(1, 0)).what).toBe('skip-setting');
    expect(decideAfter(tripped, both, history(1, 0)).what).toBe('retry');
    expect(decideAfter(tripped, both, history(1, 1)).what).toBe('skip-setting');
  });

  test('two different runs on one code may still be retried or skipped, the third stops', () => {
    for (const policy of [retryStall, skipStall, both]) {
      expect(decideAfter(tripped, policy, history(2, 0)).what).not.toBe('stop');
      expect(decideAfter(tripped, policy, history(3, 0)).what).toBe('stop');
      expect(decideAfter(tripped, policy, history(4, 0)).what).toBe('stop');
    }
    expect(decideAfter(tripped, both, history(3, 0)).why).toMatch(/^3 different runs tripped on STALL; the third was run 7/);
  });

  test('a failure of record, link or program stops, listed or not', () => {
    const listed: TripPolicy = { retry_once: TRIP_CODES, skip_setting: TRIP_CODES };
    for (const trip of ['CANNOT_RECORD', 'LINK_LOST', 'HOST_FAULT'] as const) expect(decideAfter({ run: 1, outcome: 'tripped', trip }, listed, history(1, 0)).what).toBe('stop');
    expect(decideAfter({ run: 1, outcome: 'tripped', trip: 'HOST_STALLED' }, listed, history(1, 0)).what).toBe('retry');
  });

  test('the stop input is a person: listed or not, it stops', () => {
    const listed: TripPolicy = { retry_once: ['STOP_INPUT'], skip_setting: ['STOP_INPUT'] };
    expect(decideAfter({ run: 1, outcome: 'tripped', trip: 'STOP_INPUT' }, listed, history(1, 0))).toMatchObject({ what: 'stop', why: expect.stringContaining('A person') as string });
    expect(decideAfter({ run: 1, outcome: 'tripped' }, listed, history(1, 0)).what).toBe('stop');
  });
});

describe('a whole campaign', () => {
  const runs = planCampaign(scout({ factors: [factorOf('timing_advance', 'deg', [0, 8, 16, 24])], protocols: [use('thrust-curve')], repeats: 3 })).runs;
  const settingOf = (run: number): string => runs[run - 1].setting.id;
  const drive = (policy: TripPolicy, fate: Fate) => {
    const disk = new Disk();
    const result = session(runs, disk, policy, fate, {});
    return { ...result, disk, entries: readJournal(disk.text).entries };
  };
  const once = (...bad: number[]): Fate => (run, attempt) => (bad.includes(run) && attempt === 1 ? { outcome: 'tripped', trip: 'STALL' } : { outcome: 'done' });

  test('stops at the first unlisted trip and holds, with every run before it good', () => {
    const result = drive(STOP_ALWAYS, once(5));
    expect(result.last).toMatchObject({ kind: 'held', run: 5 });
    expect(result.made).toEqual([1, 2, 3, 4]);
  });

  test('retries a listed trip at once and goes on in order', () => {
    const result = drive(retryStall, once(5, 9));
    expect(result.last).toEqual({ kind: 'complete', skipped: 0 });
    expect(result.made).toEqual(runs.map((r) => r.index));
    expect(result.entries.filter((e) => e.type === 'decided').map((e) => `${e.what} ${e.run}`)).toEqual(['retry 5', 'retry 9']);
  });

  test('three different runs on one code stop it although each retry was good', () => {
    const result = drive(retryStall, once(2, 5, 9));
    expect(result.last).toMatchObject({ kind: 'held', run: 9 });
    expect(result.made).toEqual([1, 2, 3, 4, 5, 6, 7, 8]);
  });

  test('three runs on three codes do not', () => {
    const codes = { 2: 'STALL', 5: 'TREND', 9: 'MISMATCH' } as const;
    const fate: Fate = (run, attempt) => (run in codes && attempt === 1 ? { outcome: 'tripped', trip: codes[run as keyof typeof codes] } : { outcome: 'done' });
    expect(drive({ retry_once: ['STALL', 'TREND', 'MISMATCH'], skip_setting: [] }, fate).last).toEqual({ kind: 'complete', skipped: 0 });
  });

  test('one run tripping again and again counts once', () => {
    const fate: Fate = (run) => (run === 4 ? { outcome: 'tripped', trip: 'STALL' } : { outcome: 'done' });
    const result = drive(both, fate);
    const skipped = runs.filter((r) => settingOf(r.index) === settingOf(4) && r.index >= 4).length;
    expect(result.last).toEqual({ kind: 'complete', skipped });
    expect(result.made).toHaveLength(runs.length - skipped);
  });

  test('a resume does not forget: the fourth run on the code stops again', () => {
    const fate = once(2, 5, 9, 11);
    const { disk } = drive(retryStall, fate);
    const second = session(runs, disk, retryStall, fate, {});
    expect(second.last).toMatchObject({ kind: 'held', run: 11 });
  });

  test('nothing goes on by itself after a person stopped it, however often a tool starts it again', () => {
    const fate: Fate = (run, attempt) => (run === 3 && attempt === 1 ? { outcome: 'stopped' } : { outcome: 'done' });
    const { disk, last } = drive({ retry_once: TRIP_CODES, skip_setting: TRIP_CODES }, fate);
    expect(last).toMatchObject({ kind: 'held', run: 3 });
    for (let i = 0; i < 3; i++) expect(session(runs, disk, retryStall, fate, {}, 'tool')).toMatchObject({ last: { kind: 'held', run: 3 }, made: [] });
    expect(session(runs, disk, retryStall, fate, {}, 'person').last).toEqual({ kind: 'complete', skipped: 0 });
  });
});
