// Goal: a campaign killed anywhere goes on at the first run without a good outcome, repeats no good one, skips none, applies half-done settings again.
// Method: a driver without a bench on a journal kept as text; killed at every write, the journal cut at every byte; 10 000 runs timed.
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { journalLine, readJournal, type JournalEntry } from '../../src/campaign/journal';
import { planCampaign, type PlannedRun } from '../../src/campaign/plan';
import { PROPELLER } from '../../src/campaign/plan-input';
import { JournalMismatch, Ledger, recordStem } from '../../src/campaign/resume';
import { Disk, FINGERPRINT, session, STOP_ALWAYS, type Fate } from './drive';
import { cpuSeconds, factorOf, KV, scout, use } from './inputs';

const small = planCampaign(scout({
  factors: [factorOf('timing_advance', 'deg', [0, 8]), factorOf('switching_frequency', 'kHz', [22, 44])],
  protocols: [KV, use('thrust-curve')], repeats: 3, by: { propeller: 'operator', supply: 'supply', mounting: 'operator' },
})).runs;
const everyRun = small.map((r) => r.index);
const good: Fate = () => ({ outcome: 'done' });

/** Good runs according to the journal, in the order in which they ended. */
function goodOf(text: string): number[] {
  return readJournal(text).entries.flatMap((e) => (e.type === 'ended' && e.outcome === 'done' ? [e.run] : []));
}

describe('killed at a write', () => {
  const whole = new Disk();
  session(small, whole, STOP_ALWAYS, good, {});
  const writes = whole.writes;

  test('an undisturbed campaign makes every run once, in order', () => {
    expect(goodOf(whole.text)).toEqual(everyRun);
    expect(writes).toBeGreaterThan(60);
  });

  test.each([0, 0.01, 0.5, 0.99, 1])('at every write, with %d of the line on disk: the journal ends with every run good once, in order', (kept) => {
    for (let n = 1; n <= writes; n++) {
      const disk = new Disk();
      disk.dieAt = n;
      disk.kept = kept;
      const bench = {};
      expect(session(small, disk, STOP_ALWAYS, good, bench).killed).toBe(true);
      disk.dieAt = Infinity;
      const second = session(small, disk, STOP_ALWAYS, good, bench);
      expect(second.last).toEqual({ kind: 'complete', skipped: 0 });
      expect(goodOf(disk.text)).toEqual(everyRun);
    }
  });

  test('twice or more in one campaign, at random writes and lengths', () => {
    fc.assert(fc.property(fc.array(fc.tuple(fc.integer({ min: 1, max: 40 }), fc.double({ min: 0, max: 1, noNaN: true })), { maxLength: 6 }), (kills) => {
      const disk = new Disk();
      const bench = {};
      for (const [after, kept] of kills) {
        disk.dieAt = disk.writes + after;
        disk.kept = kept;
        session(small, disk, STOP_ALWAYS, good, bench);
      }
      disk.dieAt = Infinity;
      session(small, disk, STOP_ALWAYS, good, bench);
      expect(goodOf(disk.text)).toEqual(everyRun);
    }));
  });

  test('every run is made under its own conditions, although the bench lost power and its settings at the kill', () => {
    for (let n = 1; n <= writes; n++) {
      const disk = new Disk();
      disk.dieAt = n;
      disk.kept = 0.5;
      const bench: Record<string, string | undefined> = {};
      session(small, disk, STOP_ALWAYS, good, bench);
      // What the rig holds is gone; what a person did stays.
      for (const name of Object.keys(bench)) if (name !== PROPELLER) bench[name] = 'lost';
      disk.dieAt = Infinity;
      const second = session(small, disk, STOP_ALWAYS, good, bench);
      second.made.forEach((run, i) => {
        for (const w of small[run - 1].conditions) expect([run, w.name, second.under[i][w.name]]).toEqual([run, w.name, w.to]);
      });
    }
  });
});

describe('a journal cut at any byte', () => {
  const few = small.slice(0, 6);
  const everyFew = few.map((r) => r.index);
  const disk = new Disk();
  const fate: Fate = (run, attempt) => (run === 5 && attempt === 1 ? { outcome: 'tripped', trip: 'DESYNC_COUNT' } : { outcome: 'done' });
  session(few, disk, { retry_once: ['DESYNC_COUNT'], skip_setting: [] }, fate, {});
  const lines = disk.text.split('\n').slice(0, -1);

  test('yields exactly its whole lines, and a cut tail is seen', () => {
    const ends: number[] = [];
    for (let i = 0; i < disk.text.length; i++) if (disk.text[i] === '\n') ends.push(i);
    for (let cut = 0; cut <= disk.text.length; cut++) {
      const read = readJournal(disk.text.slice(0, cut));
      // A line without only its line break is whole already.
      const whole = ends.filter((e) => e <= cut).length;
      expect(read.entries).toHaveLength(whole);
      expect(read.cutTail).toBe(cut > 0 && disk.text[cut - 1] !== '\n');
    }
  });

  test('and taken up again always ends with every run good exactly once', () => {
    for (let cut = 0; cut <= disk.text.length; cut++) {
      const again = new Disk();
      again.text = disk.text.slice(0, cut);
      const before = goodOf(again.text);
      expect(before).toEqual(everyFew.slice(0, before.length));
      session(few, again, STOP_ALWAYS, good, {});
      expect(goodOf(again.text)).toEqual(everyFew);
    }
  });

  test('the remains of a cut line in the middle are told and passed over', () => {
    const text = [lines[0], lines[1].slice(0, 20), ...lines.slice(1)].join('\n');
    const read = readJournal(text);
    expect(read.unreadable).toEqual([2]);
    expect(read.entries).toHaveLength(lines.length);
  });

  test('lines that are JSON but no entry are never taken for one', () => {
    const bad: unknown[] = [null, 1, [], {}, { type: 'ended', run: 1, attempt: 1 }, { type: 'ended', run: 1, attempt: 1, outcome: 'fine' }, { type: 'started', run: -1, attempt: 1 },
      { type: 'started', run: 1.5, attempt: 1 }, { type: 'decided', what: 'retry', by: 'cat', run: 1 }, { type: 'changed', run: 1, conditions: null }, { type: 'planned', runs: 3 }, { type: 'ended', run: 1, attempt: 1, outcome: 'tripped', trip: 'HICCUP' }];
    expect(readJournal(bad.map((b) => JSON.stringify(b)).join('\n')).unreadable).toHaveLength(bad.length);
  });
});

describe('the ledger', () => {
  const ledger = (...entries: JournalEntry[]): Ledger => new Ledger(small, FINGERPRINT).applyAll(entries);
  const started = (run: number, attempt = 1): JournalEntry => ({ type: 'started', run, attempt });
  const ended = (run: number, outcome: 'done' | 'tripped' | 'stopped' = 'done', attempt = 1): JournalEntry => ({ type: 'ended', run, attempt, outcome, ...(outcome === 'tripped' ? { trip: 'STALL' as const } : {}) });

  test('an attempt that never ended reads as cut off and is made again under the next number', () => {
    const l = ledger(started(1), ended(1), started(2));
    expect(l.next()).toEqual({ kind: 'run', run: 2, attempt: 2 });
    expect([l.outcomeOf(1), l.outcomeOf(2), l.outcomeOf(3)]).toEqual(['done', 'cut-off', undefined]);
    expect([recordStem('0002-kv', 1), recordStem('0002-kv', 2)]).toEqual(['0002-kv', '0002-kv.attempt-2']);
  });

  test('a bad end waits for a decision; a stop holds until a person resumes, and a tool cannot lift it', () => {
    const l = ledger(started(1), ended(1, 'stopped'));
    expect(l.next().kind).toBe('undecided');
    l.apply({ type: 'decided', what: 'stop', by: 'tool', run: 1, why: 'asked to' });
    expect(l.next()).toEqual({ kind: 'held', why: 'asked to', run: 1 });
    l.apply({ type: 'decided', what: 'resume', by: 'tool', run: 0, why: 'started again' });
    expect(l.next().kind).toBe('held');
    l.apply({ type: 'decided', what: 'resume', by: 'person', run: 0, why: 'bench checked' });
    expect(l.next()).toEqual({ kind: 'run', run: 1, attempt: 2 });
  });

  test('a bad end without a decision, found at start, stays undecided for a tool and is lifted by a person', () => {
    const l = ledger(started(1), ended(1, 'tripped'));
    l.apply({ type: 'decided', what: 'resume', by: 'tool', run: 0, why: '' });
    expect(l.next().kind).toBe('undecided');
    l.apply({ type: 'decided', what: 'resume', by: 'person', run: 0, why: '' });
    expect(l.next()).toEqual({ kind: 'run', run: 1, attempt: 2 });
  });

  test('a skipped setting is left out in all its runs, counted, and taken back in when asked', () => {
    const l = ledger(started(1), ended(1, 'tripped'), { type: 'decided', what: 'skip-setting', by: 'tool', run: 1, why: '' });
    const same = small.filter((r) => r.setting.id === small[0].setting.id);
    expect(l.skippedCount()).toBe(same.length);
    const made: number[] = [];
    for (let next = l.next(); next.kind === 'run'; next = l.next()) {
      l.apply(started(next.run, next.attempt));
      l.apply(ended(next.run, 'done', next.attempt));
      made.push(next.run);
    }
    expect(made).toEqual(small.filter((r) => r.setting.id !== small[0].setting.id).map((r) => r.index));
    expect(l.next()).toEqual({ kind: 'complete', skipped: same.length });
    l.apply({ type: 'decided', what: 'try-skipped', by: 'person', run: 0, why: '' });
    expect([l.next(), l.skippedCount()]).toEqual([{ kind: 'run', run: 1, attempt: 2 }, 0]);
  });

  test('a half-applied setting is unknown; after a break only what a person did is trusted', () => {
    const l = ledger({ type: 'changing', run: 1, conditions: { a: '1', b: '2' } });
    expect(l.inPlace().a).toBeUndefined();
    l.apply({ type: 'changed', run: 1, conditions: { a: '1', b: '2' }, byHand: ['b'] });
    expect(l.inPlace()).toEqual({ a: '1', b: '2' });
    l.apply({ type: 'decided', what: 'resume', by: 'person', run: 0, why: '' });
    expect(l.inPlace()).toEqual({ a: undefined, b: '2' });
    l.apply({ type: 'changing', run: 2, conditions: { b: '3' } });
    expect(l.inPlace().b).toBeUndefined();
  });

  test('refuses the journal of another plan and runs that the plan does not have', () => {
    expect(() => ledger({ type: 'planned', fingerprint: 'other', runs: small.length })).toThrow(JournalMismatch);
    expect(() => ledger({ type: 'planned', fingerprint: FINGERPRINT, runs: 1 })).toThrow(/another plan: 1 runs/);
    expect(() => ledger(started(small.length + 1))).toThrow(/plan has 24 runs/);
    expect(() => ledger({ type: 'decided', what: 'retry', by: 'tool', run: 0, why: '' })).toThrow(JournalMismatch);
    expect(ledger({ type: 'planned', fingerprint: FINGERPRINT, runs: small.length }, started(small.length)).next()).toEqual({ kind: 'run', run: 1, attempt: 1 });
  });
});

test('10 000 runs are scanned within 1 s', () => {
  const runs = Array.from({ length: 10_000 }, (_, i) => ({ id: `${i + 1}`, setting: { id: `s${i % 500}` } })) as unknown as PlannedRun[];
  const text = [journalLine({ type: 'planned', fingerprint: FINGERPRINT, runs: 10_000 }), ...runs.slice(0, 9_999).flatMap((_, i) => [
    journalLine({ type: 'changing', run: i + 1, conditions: { switching_frequency: '44 kHz', timing_advance: '8 deg' } }),
    journalLine({ type: 'changed', run: i + 1, conditions: { switching_frequency: '44 kHz', timing_advance: '8 deg' } }),
    journalLine({ type: 'started', run: i + 1, attempt: 1, record: `runs/${i + 1}-thrust-curve.mcap`, at: '2025-01-01T00:00:00Z' }),
    journalLine({ type: 'ended', run: i + 1, attempt: 1, outcome: 'done', detail: 'Played 12 segments.', at: '2025-01-01T00:00:00Z' }),
  ])].join('');
  expect(cpuSeconds(() => {
    const next = new Ledger(runs, FINGERPRINT).applyAll(readJournal(text).entries).next();
    expect(next).toEqual({ kind: 'run', run: 10_000, attempt: 1 });
  })).toBeLessThan(1);
});
