// Goal: a journal cut at any byte loses at most its last entry, names what it left out, and can be continued.
// Method: a journal of each kind of entry, cut at every byte, read, appended to and read again.
import fs from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { afterAll, describe, expect, test } from 'vitest';
import { JournalFile, readJournal } from '../../src/record/file-journal';
import { type JournalEntry, journalLine, latestEnds, parseJournal } from '../../src/record/journal';

const at = '2024-05-01T12:00:00.000Z';
const ended = (run: number, outcome: 'done' | 'tripped'): JournalEntry => ({ entry: 'ended', at, run, record: `runs/${run}.mcap`, outcome, detail: 'ünïcode', sha256: 'ab', bytes: 3 });
const entries: JournalEntry[] = [
  { entry: 'planned', at, campaign: 'c', runs: 2, plan_sha256: 'ff' },
  { entry: 'started', at, run: 1, record: 'runs/1.mcap' },
  ended(1, 'done'),
  { entry: 'decided', at, what: 'skip 88 kHz', why: 'tripped twice', about: { switching_frequency: 88_000 } },
  { entry: 'started', at, run: 2, record: 'runs/2.mcap' },
  ended(2, 'tripped'),
];
const text = entries.map(journalLine).join('');
const folder = fs.mkdtempSync(path.join(os.tmpdir(), 'spoolbench-journal-'));
afterAll(() => { fs.rmSync(folder, { recursive: true }); });

describe('reading', () => {
  test('cut at every character: every whole line is there, a cut one is named and left out', () => {
    for (let cut = 0; cut <= text.length; cut++) {
      const part = text.slice(0, cut);
      const whole = part.split('\n').length - 1;
      const journal = parseJournal(part);
      const inside = part !== '' && !part.endsWith('\n');
      expect(journal.open_ended).toBe(inside);
      if (journal.entries.length === whole) expect(journal.bad.map((b) => b.line)).toEqual(inside ? [whole + 1] : []);
      else expect(text[cut], 'a line that lost only its end still counts').toBe('\n');
      expect(journal.entries).toEqual(entries.slice(0, journal.entries.length));
    }
  });

  test.each([
    ['"text"', /not an object/],
    ['{"entry":"begun","at":"x"}', /accepted: planned, started, ended, decided/],
    ['{"entry":"started","at":"x","run":"1","record":"r"}', /run is "1"; accepted: a number/],
    ['{"entry":"ended","at":"x","run":1,"record":"r","outcome":"fine","detail":"","sha256":"","bytes":1}', /outcome is "fine"/],
  ])('%s is left out with a reason, and the lines around it are kept', (line, why) => {
    const journal = parseJournal(journalLine(entries[0]) + line + '\n' + journalLine(entries[1]));
    expect(journal.entries).toEqual(entries.slice(0, 2));
    expect(journal.bad).toHaveLength(1);
    expect(journal.bad[0].line).toBe(2);
    expect(journal.bad[0].why).toMatch(why);
  });

  test('the latest word on a run counts: a run started again has no end until it ends again', () => {
    const again = parseJournal(text + journalLine({ entry: 'started', at, run: 2, record: 'runs/2b.mcap' }));
    expect([...latestEnds(parseJournal(text))].map(([run, e]) => [run, e.outcome])).toEqual([[1, 'done'], [2, 'tripped']]);
    expect([...latestEnds(again).keys()]).toEqual([1]);
  });

  test('what could not be read back is not written', () => {
    expect(() => journalLine({ ...entries[1], run: NaN } as JournalEntry)).toThrow(/run is null/);
  });
});

describe('on disk', () => {
  test('a missing journal is empty; entries are appended, also by the next process', () => {
    const file = path.join(folder, 'a.jsonl');
    expect(readJournal(file)).toEqual({ entries: [], bad: [], open_ended: false });
    for (const e of entries) {
      const journal = new JournalFile(file);
      journal.append(e);
      journal.close();
    }
    expect(fs.readFileSync(file, 'utf8')).toBe(text);
  });

  test('after a cut-off line the next entry starts on its own line, and the cut one stays as evidence', () => {
    const file = path.join(folder, 'b.jsonl');
    fs.writeFileSync(file, text.slice(0, -20));
    const journal = new JournalFile(file);
    journal.append(entries[4]);
    journal.append(entries[5]);
    journal.close();
    const read = readJournal(file);
    expect(read.entries).toEqual([...entries.slice(0, 5), ...entries.slice(4)]);
    expect(read.bad).toMatchObject([{ line: 6 }]);
    expect(read.bad[0].why).toContain('cut off');
  });
});
