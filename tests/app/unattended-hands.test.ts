// Goal: hands, programs and notices: done in order, checked, kept in the record, and never waited for where nobody can answer.
// Method: campaigns on the twin with small shell programs and a scripted person; journal, records and exit are compared.
import fs from 'node:fs';
import path from 'node:path';
import { afterAll, describe, expect, test } from 'vitest';
import { answersFrom } from '../../src/app/answers';
import { sameLevel } from '../../src/app/commands';
import type { HandsRequest, Operator } from '../../src/app/operator';
import { prepareCampaign } from '../../src/app/prepare';
import { runFile } from '../../src/app/run-file';
import { runProgram } from '../../src/host/program';
import { readRecord } from '../../src/record/file-reader';
import { cleanUp, SILENT, tempFolder } from './kit';
import { foldersIn, journalOf, listening, notedIn, session, tiny, tinyBench, type Bench } from './unattended-kit';

afterAll(cleanUp);

const SET = '#!/bin/sh\ncat >> set.log\necho done\n';
const program = (bench: Bench, name: string, text: string): void => { fs.writeFileSync(path.join(bench.folder, name), text, { mode: 0o755 }); };
const byCommand = (more: string): string => tiny(`factors: { timing_advance: { levels: [8 deg, 16 deg], apply: command, command: [./set.sh], ${more} } }\nrepeats: 1\norder: { shuffle: none }`);
const motors = 'factors: { motor: { levels: [a, b], apply: operator, checklist: [Cut the power, Swap it], ask: [Serial number] } }\nrepeats: 2\norder: { seed: 5 }';

function commandBench(more: string, set = SET, read = '#!/bin/sh\necho 8 deg\n'): Bench {
  const bench = tinyBench(byCommand(more));
  program(bench, 'set.sh', set);
  program(bench, 'read.sh', read);
  return bench;
}

/** The attachment that says what was done before a run. */
function beforeRun(record: string): Record<string, unknown> {
  const found = readRecord(record).attachments.find((a) => a.name === 'before-run.json');
  return JSON.parse(new TextDecoder().decode(found?.data)) as Record<string, unknown>;
}
const recordsOf = (bench: Bench): string[] => {
  const runs = path.join(foldersIn(bench)[0], 'runs');
  return fs.readdirSync(runs).map((f) => path.join(runs, f));
};

describe('a factor set by a program', () => {
  test('gets JSON on its standard input, and what it said is in the record and the journal', async () => {
    const bench = commandBench('read_back: [./read.sh]', SET, '#!/bin/sh\ntail -1 set.log | sed "s/.*\\"to\\":\\"\\([^\\"]*\\)\\".*/\\1/"\n');
    expect(await session(bench)).toMatchObject({ good: 2, stopped: null });
    const given = fs.readFileSync(path.join(bench.folder, 'set.log'), 'utf8').trim().split('\n').map((l) => JSON.parse(l) as Record<string, unknown>);
    expect(given.map((g) => [g.factor, g.from, g.to, g.run])).toEqual([['timing_advance', null, '8 deg', 1], ['timing_advance', '8 deg', '16 deg', 2]]);
    expect(given[0]).toMatchObject({ campaign: 'tiny', protocol: 'blip', simulated: true, setting: { timing_advance: '8 deg' }, value: 8 });
    expect(beforeRun(recordsOf(bench)[1])).toMatchObject({ by_command: [{ factor: 'timing_advance', to: '16 deg', stdout: 'done\n', read_back: '16 deg', exit_code: 0 }] });
    expect(notedIn(foldersIn(bench)[0], 'command')).toHaveLength(2);
  });

  test.each([
    ['that fails', SET.replace('echo done', 'echo no lead >&2; exit 3'), '', /timing_advance = 8 deg: \.\/set\.sh ended with exit code 3; it said: no lead/],
    ['that hangs', '#!/bin/sh\nsleep 1000 & sleep 1000\n', 'time_limit: 300 ms', /did not end within 0\.3 s and was killed/],
    ['that is killed', '#!/bin/sh\nkill -9 $$\n', '', /was ended by SIGKILL/],
    ['whose read-back disagrees', SET, 'read_back: [./other.sh]', /timing_advance was set to 8 deg, but reading back gives "7 deg"/],
    ['whose read-back fails', SET, 'read_back: [./fails.sh]', /reading back: \.\/fails\.sh ended with exit code 1/],
  ])('%s stops the campaign before anything turns; it is applied again when a person resumes', async (_, set, more, said) => {
    const bench = commandBench(more, set);
    program(bench, 'other.sh', '#!/bin/sh\necho 7 deg\n');
    program(bench, 'fails.sh', '#!/bin/sh\nexit 1\n');
    const end = await session(bench);
    expect(end).toMatchObject({ good: 0, outcomes: [] });
    expect(end.stopped).toMatch(said);
    expect(journalOf(foldersIn(bench)[0]).at(-1)).toMatchObject({ type: 'decided', what: 'stop', by: 'tool' });
    program(bench, 'set.sh', SET);
    program(bench, 'other.sh', '#!/bin/sh\ntail -1 set.log | grep -o "[0-9]* deg" | tail -1\n');
    program(bench, 'fails.sh', '#!/bin/sh\ntail -1 set.log | grep -o "[0-9]* deg" | tail -1\n');
    expect(await session(bench, { resume: true })).toMatchObject({ good: 2, stopped: null });
  });

  test('that is not there is refused up front, by name, and no folder is made', async () => {
    const bench = commandBench('read_back: [no-such-program-here]');
    fs.rmSync(path.join(bench.folder, 'set.sh'));
    await expect(runFile(bench.file, {}, SILENT)).rejects.toThrow(/factors\.timing_advance\.command: .*set\.sh: there is no such program[^]*read_back: no-such-program-here: there is no such program on the PATH/);
    fs.writeFileSync(path.join(bench.folder, 'set.sh'), SET, { mode: 0o644 });
    await expect(runFile(bench.file, {}, SILENT)).rejects.toThrow(/may not be executed/);
    expect(foldersIn(bench)).toEqual([]);
  });

  test.each([
    ['44 kHz', '44 kHz', 44_000, true], ['44kHz', '44 kHz', 44_000, true], ['44000 Hz', '44 kHz', 44_000, true], ['44000', '44 kHz', 44_000, true],
    ['44.00001 kHz', '44 kHz', 44_000, false], ['44', '44 kHz', 44_000, false], ['', '44 kHz', 44_000, false], ['specimen-a', 'specimen-a', null, true], ['specimen-A', 'specimen-a', null, false],
  ])('read back as "%s" when %s was wanted: %j is %s', (answer, to, value, same) => {
    expect(sameLevel(answer, to, value)).toBe(same);
  });
});

describe('a program', () => {
  const folder = tempFolder();
  const call = (script: string, time_limit_s = 20, input = '') => runProgram({ command: ['/bin/sh', '-c', script], folder, input, time_limit_s });

  test('that does not read its input, or says a great deal, is no trouble', async () => {
    const long = 'x'.repeat(1e6);
    expect(await call('exit 0', 20, long)).toMatchObject({ how: 'ended', exit_code: 0 });
    const said = await call('head -c 1000000 /dev/zero | tr "\\0" y; echo end');
    expect(said).toMatchObject({ how: 'ended', exit_code: 0 });
    expect(said.stdout.length).toBeLessThan(70_000);
    expect(said.stdout).toMatch(/^y+\n… \d+ bytes left out …\ny+end\n$/);
  });

  test('that hangs is killed with its children, which hold its output open', async () => {
    const began = performance.now();
    const result = await call('sleep 987 & echo $! > child; sleep 987', 0.3);
    expect(result).toMatchObject({ how: 'overdue', exit_code: null });
    expect(performance.now() - began).toBeLessThan(5000);
    const child = Number(fs.readFileSync(path.join(folder, 'child'), 'utf8'));
    await expect.poll(() => alive(child)).toBe(false);
  });

  test('is ended when a person stops', async () => {
    const stop = new AbortController();
    const running = runProgram({ command: ['/bin/sh', '-c', 'sleep 987'], folder, input: '', time_limit_s: 60, signal: stop.signal });
    stop.abort();
    expect(await running).toMatchObject({ how: 'stopped' });
  });
});

function alive(pid: number): boolean {
  try {
    process.kill(pid, 0);
    return !/^\d+ \(.*\) Z/.test(fs.readFileSync(`/proc/${pid}/stat`, 'utf8'));
  } catch {
    return false;
  }
}

/** A person who does what is asked and remembers it. */
class Person implements Operator {
  readonly asked: HandsRequest[] = [];
  cleared = 0;
  constructor(private readonly stopAt = Infinity) {}
  lacks = (): readonly string[] => [];
  hands = (request: HandsRequest) => {
    this.asked.push(request);
    return Promise.resolve(this.asked.length >= this.stopAt ? ('stop' as const) : { answers: { 'Serial number': `${request.to}-17` }, photo: 'photo.png', notes: 'sits tight' });
  };
  clear = () => {
    this.cleared++;
    return Promise.resolve('clear' as const);
  };
}

describe('hands', () => {
  test('are asked for once a block; answers, notes and photo are in every record made under them', async () => {
    const bench = tinyBench(tiny(motors));
    fs.writeFileSync(path.join(bench.folder, 'photo.png'), Buffer.from([1, 2, 3]));
    const person = new Person();
    expect(await session(bench, { operator: person })).toMatchObject({ good: 4, stopped: null });
    expect(person.asked.map((r) => r.run)).toEqual([1, 3]);
    expect(person.cleared).toBe(2);
    expect(person.asked[0]).toMatchObject({ condition: 'motor', from: null, checklist: ['Cut the power', 'Swap it'], ask: ['Serial number'], simulated: true });
    for (const record of recordsOf(bench)) {
      const [by_hand] = beforeRun(record).by_hand as { to: string; answers: Record<string, string>; notes: string }[];
      expect(path.basename(record)).toContain(`motor-${by_hand.to}`);
      expect(by_hand).toMatchObject({ answers: { 'Serial number': `${by_hand.to}-17` }, notes: 'sits tight' });
      const photo = readRecord(record).attachments.find((a) => a.name === 'photos/photo.png');
      expect([...(photo?.data ?? [])]).toEqual([1, 2, 3]);
    }
  });

  test('that were done are believed after a break, and not asked for again; half-done ones are', async () => {
    const bench = tinyBench(tiny(motors));
    const stops = new Person(2);
    expect(await session(bench, { operator: stops })).toMatchObject({ good: 2, stopped: 'stopped by the operator', outcomes: ['done', 'done'] });
    expect(journalOf(foldersIn(bench)[0]).at(-1)).toMatchObject({ what: 'stop', by: 'person' });
    const person = new Person();
    expect(await session(bench, { operator: person, resume: true })).toMatchObject({ good: 4, stopped: null });
    expect(person.asked.map((r) => [r.run, r.from, r.to])).toEqual([[3, null, stops.asked[1].to]]);
    expect((beforeRun(recordsOf(bench)[3]).by_hand as { to: string }[])[0].to).toBe(stops.asked[1].to);
  });

  test('that nobody can give are refused up front with what would be asked, and nothing is made', async () => {
    const bench = tinyBench(tiny(motors));
    await expect(runFile(bench.file, {}, SILENT)).rejects.toThrow(/a person is needed[^]*run 1: motor: [ab] \(asks: Serial number\)[^]*run 3: motor: [ab] \(was [ab]\)[^]*--answers FILE/);
    expect(foldersIn(bench)).toEqual([]);
  });

  const answers = (hands: string): string => `spoolbench: 1\nanswers: tiny\nhands:\n${hands}`;
  test('answered by a file go through without anybody, and what a file lacks is listed', async () => {
    const bench = tinyBench(tiny(motors));
    const file = path.join(bench.folder, 'answers.yaml');
    const operator = (): Operator => answersFrom(file, prepareCampaign(bench.file));
    fs.writeFileSync(file, answers('  - { change: motor, to: a, checklist: done }\n'));
    await expect(runFile(bench.file, { operator }, SILENT)).rejects.toThrow(/motor: a[^\n]*: no answer to "Serial number"[^]*/);
    await expect(runFile(bench.file, { operator }, SILENT)).rejects.toThrow(/no entry \{ change: motor, to: b \}/);
    fs.writeFileSync(file, answers('  - { change: motor, to: a, checklist: done, answers: { Serial number: 17 } }\n  - { change: motor, to: b, checklist: done, answers: { Serial number: B-1 } }\n'));
    expect(await runFile(bench.file, { operator }, SILENT)).toMatchObject({ good: 4, stopped: null });
    expect(notedIn(foldersIn(bench)[0], 'operator').map((n) => n.data.answers)).toEqual(expect.arrayContaining([{ 'Serial number': '17' }, { 'Serial number': 'B-1' }]));
  });

  test.each([
    ['another campaign', 'spoolbench: 1\nanswers: other\nhands: []\n', /answers for the campaign other, not for tiny/],
    ['a photo that is not there', answers('  - { change: motor, to: a, checklist: done, photo: none.jpg }\n'), /answers\.yaml:4:\d+ hands\.0\.photo: none\.jpg cannot be read/],
    ['a checklist that is not done', answers('  - { change: motor, to: a, checklist: almost }\n'), /hands\.0\.checklist: .*accepted: done/],
  ])('answered by a file for %s are refused', (_, text, said) => {
    const bench = tinyBench(tiny(motors));
    const file = path.join(bench.folder, 'answers.yaml');
    fs.writeFileSync(file, text);
    expect(() => answersFrom(file, prepareCampaign(bench.file))).toThrow(said);
  });
});

describe('a notice', () => {
  const TELL = '#!/bin/sh\ncat >> notices.log\n';
  const notices = (bench: Bench): Record<string, unknown>[] => fs.readFileSync(path.join(bench.folder, 'notices.log'), 'utf8').trim().split('\n').map((l) => JSON.parse(l) as Record<string, unknown>);

  test('goes out when hands are needed and when all is done, with a summary', async () => {
    const bench = tinyBench(tiny(`${motors}\nnotify: { command: [./tell.sh] }`));
    program(bench, 'tell.sh', TELL);
    await session(bench, { operator: new Person() });
    expect(notices(bench).map((n) => [n.event, n.run, n.good])).toEqual([['needs-hands', 1, 0], ['needs-hands', 3, 2], ['finished', null, 4]]);
    expect(notices(bench)[0]).toMatchObject({ campaign: 'tiny', of: 4, simulated: true, going_on: false, folder: foldersIn(bench)[0] });
  });

  test('goes out at a trip, and only for what is listed', async () => {
    const bench = tinyBench(tiny('repeats: 2\nnotify: { command: [./tell.sh], on: [tripped] }'), { rig: [['seed: 1 }', 'seed: 1, faults: [{ fault: thermistor-open, at: 50 ms }] }']] });
    program(bench, 'tell.sh', TELL);
    await session(bench);
    expect(notices(bench)).toEqual([expect.objectContaining({ event: 'tripped', run: 1, trip: 'SENSOR_IMPOSSIBLE', going_on: false })]);
  });

  test.each([
    ['fails', '#!/bin/sh\necho no network >&2\nexit 7\n', /exit code 7: no network/],
    ['hangs', '#!/bin/sh\nsleep 100\n', /did not end within 0\.2 s/],
  ])('that %s is reported and kept, and costs the campaign nothing', async (_, script, said) => {
    const bench = tinyBench(tiny('repeats: 2\nnotify: { command: [./tell.sh], time_limit: 200 ms }'));
    program(bench, 'tell.sh', script);
    const words = listening();
    expect(await session(bench, { words })).toMatchObject({ good: 2, stopped: null });
    expect(words.notes.join('\n')).toMatch(said);
    expect(notedIn(foldersIn(bench)[0], 'notice')).toEqual([expect.objectContaining({ data: expect.objectContaining({ event: 'finished', well: false }) as unknown })]);
  });
});
