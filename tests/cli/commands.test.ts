// Goal: the command line keeps its contract: exit codes, machine output on stdout and talk on stderr, every problem at its place.
// Method: the real command in child processes on small benches; few of them, with many checks each, because each start costs a second.
import { spawnSync } from 'node:child_process';
import fs from 'node:fs';
import path from 'node:path';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { BadInput } from '../../src/app/errors';
import { newBench } from '../../src/app/new-bench';
import { exportFile, recoverFile } from '../../src/app/records';
import { EXIT, worst, type ExitCode } from '../../src/cli/exit-codes';
import { exitCode } from '../../src/cli/commands/run';
import type { Outcome } from '../../src/model/events';
import { readRecord } from '../../src/record/file-reader';
import { benchFolder, cleanUp, tempFolder, type Edits } from '../app/kit';
import { asInstalled, campaignsIn, commandFile, recordsIn, spoolbench, type Said } from './kit';

afterAll(cleanUp);

const SMALL = `spoolbench: 1
campaign: small
rig: ../rig.yaml
article: ../article.yaml
factors: { switching_frequency: { levels: [22 kHz, 88 kHz], apply: rig } }
protocols: [kv, efficiency-hold: { current: 1.4 A, hold: 1 s, use_last: 500 ms }]
repeats: 1
`;

/** Without the protocol in TypeScript: a compiler would start each time. */
function plainBench(edits: Edits = {}): string {
  const folder = benchFolder(edits);
  fs.rmSync(path.join(folder, 'protocols/creep-up.ts'));
  return folder;
}

describe('a good campaign', () => {
  let folder: string;
  let made: Said;
  let ran: Said;
  let runs: string[];

  beforeAll(() => {
    const parent = tempFolder();
    made = asInstalled(parent, 'new', 'my-bench');
    folder = path.join(parent, 'my-bench');
    fs.writeFileSync(path.join(folder, 'campaigns/small.yaml'), SMALL);
    fs.rmSync(path.join(folder, 'protocols/creep-up.ts'));
    ran = spoolbench(folder, 'run', 'campaigns/small.yaml', '--records', 'elsewhere', '--json');
    runs = recordsIn(campaignsIn(path.join(folder, 'elsewhere'))[0]);
  });

  test('new: a bench folder, its files named on stdout, exit 0', () => {
    expect(made.code).toBe(0);
    for (const file of ['rig.yaml', 'article.yaml', 'campaigns/scout-settings.yaml', 'protocols/creep-up.ts']) {
      expect(made.out.split('\n')).toContain(file);
      if (!file.endsWith('.ts')) expect(fs.existsSync(path.join(folder, file))).toBe(true);
    }
    expect(made.err).toContain('simulated rig');
    expect(() => newBench(folder)).toThrow('not empty');
  });

  test('run: exit 0, one JSON object on stdout, a line a run with the closest approaches on stderr', () => {
    expect(ran.code, ran.err).toBe(0);
    const summary = JSON.parse(ran.out) as { good: number; planned: number; outcomes: string[]; simulated: boolean; folder: string };
    expect(summary).toMatchObject({ good: 4, planned: 4, simulated: true, outcomes: ['done', 'done', 'done', 'done'] });
    expect(ran.err.match(/\[\d\/4\] .*: done/g)).toHaveLength(4);
    expect(ran.err.match(/closest to limits: /g)).toHaveLength(4);
    expect(runs).toHaveLength(4);
    for (const file of ['campaign.json', 'journal.jsonl']) expect(fs.existsSync(path.join(folder, summary.folder, file)) || fs.existsSync(path.join(summary.folder, file))).toBe(true);
  });

  test('plan: order, time, disk, limits and a drawn profile; the same as JSON; nothing touched', () => {
    const text = spoolbench(folder, 'plan', 'campaigns/small.yaml');
    expect(text).toMatchObject({ code: 0, err: '' });
    for (const part of ['4 runs', 'SIMULATED', 'Disk about', 'limit touched', 'Watched while running', '100 % ┤', 'switching frequency 22 kHz']) expect(text.out).toContain(part);
    expect(text.out.split('\n').filter((line) => line.length > 80 && !/^ *\d+ /.test(line) && !line.startsWith('Disk')), 'lines wider than 80 columns').toEqual([]);
    const json = spoolbench(folder, 'plan', 'campaigns/small.yaml', '--json');
    expect(JSON.parse(json.out)).toMatchObject({ campaign: 'small', runs: [{}, {}, {}, {}] });
    expect(fs.existsSync(path.join(folder, 'records'))).toBe(false);
  });

  test('show: what it holds and how it ended', () => {
    const text = spoolbench(folder, 'show', runs[0]);
    expect(text).toMatchObject({ code: 0, err: '' });
    for (const part of ['SIMULATED', 'Outcome: done', 'current_A', 'ramp to full', 'SHA-256', 'closest approach to']) expect(text.out).toContain(part);
    // Segments, events and closest approaches count time from the same moment.
    expect(text.out).toMatch(/\n *1 {2}0\.0\d\d s {2}start/);
    expect(text.out).toMatch(/\n {2}0\.0\d\d s {2}board driving/);
  });

  test('export: CSV to stdout or beside the record, Parquet; never over a file that is there', () => {
    const csv = spoolbench(folder, 'export', runs[0], '--out', '-');
    expect(csv.code).toBe(0);
    const [head, first] = csv.out.split('\n').filter((line) => !line.startsWith('#'));
    expect(head).toMatch(/^t_s,.*throttle_frac,current_A,current_fresh,current_valid.*voltage_V.*speed_rpm.*thrust_N.*motor_degC/);
    expect(first.split(',')).toHaveLength(head.split(',').length);
    expect(csv.out.trimEnd().split('\n').length).toBeGreaterThan(readRecord(runs[0]).groups[0].rows);
    const reader = spawnSync('sh', ['-c', `"$0" "$1" export "$2" --out - | head -n 1`, process.execPath, commandFile(), runs[0]], { encoding: 'utf8', cwd: folder });
    expect(reader, 'a reader that leaves is no fault').toMatchObject({ status: 0, stderr: '', stdout: `${head}\n` });
    const parquet = spoolbench(folder, 'export', runs[0], '--to', 'parquet');
    expect(parquet.code).toBe(0);
    const file = path.resolve(folder, parquet.out.trim());
    expect(fs.readFileSync(file).subarray(0, 4).toString()).toBe('PAR1'); // Apache Parquet format: files begin and end with PAR1
    expect(() => exportFile(runs[0], 'parquet', file, {})).toThrow(BadInput);
  });

  test('recover: a cut record is saved to a new file, a whole one needs nothing, a text file is refused', () => {
    const cut = path.join(folder, 'cut.mcap');
    const whole = fs.readFileSync(runs[0]);
    fs.writeFileSync(cut, whole.subarray(0, Math.floor(whole.length * 0.7)));
    const saved = spoolbench(folder, 'recover', cut);
    expect(saved.code).toBe(0);
    const recovered = readRecord(path.resolve(folder, saved.out.trim()));
    expect(recovered.groups[0].rows).toBe(readRecord(cut).groups[0].rows);
    expect(recovered.groups[0].rows).toBeGreaterThan(1000);
    expect(saved.err).toMatch(/\d+/);
    expect(() => recoverFile(path.join(folder, 'rig.yaml'), undefined)).toThrow(BadInput);
  });

  test('schema: JSON Schema on stdout; an unknown name is exit 2', () => {
    const schema = spoolbench(folder, 'schema', 'rig');
    expect(schema).toMatchObject({ code: 0, err: '' });
    expect(JSON.parse(schema.out)).toHaveProperty('properties.limits');
    expect(spoolbench(folder, 'schema', 'nonsense')).toMatchObject({ code: 2, out: '', err: expect.stringContaining('nonsense') as string });
  });
});

describe('bad input', () => {
  test('an unknown option is exit 2, and the command is not run all the same', () => {
    const folder = plainBench();
    const said = spoolbench(folder, 'run', 'thrust-curve', '--quite');
    expect(said).toMatchObject({ code: 2, out: '' });
    expect(said.err).toContain('quite');
    expect(fs.existsSync(path.join(folder, 'records'))).toBe(false);
  });

  test('every problem of every file at once, with line, column, key and what is accepted; nothing is started', () => {
    const folder = plainBench({
      rig: [['throttle_cap: 100 %', 'throttle_cap: 80 %'], ['row_rate: 1 kHz', 'row_rate: 1 ms'], ['current_mean: { above: 9 A, over', 'current_mean: { above: 1.2 A, over'], ['host_silence: 100 ms', 'host_silence: 100']],
      article: [['motor: {', 'motr: {']],
      campaign: [['repeats: 5', 'repeats: 0']],
    });
    const said = spoolbench(folder, 'run', 'campaigns/scout-settings.yaml');
    expect(said).toMatchObject({ code: 2, out: '' });
    const lines = said.err.trimEnd().split('\n');
    const about = (part: RegExp): string => lines.find((line) => part.test(line)) ?? `no line about ${String(part)} in:\n${said.err}`;
    expect(about(/rig\.yaml:7:\d+ row_rate/)).toMatch(/accepted: .*Hz/);
    expect(about(/rig\.yaml:\d+:\d+ limits\.host_silence/)).toMatch(/accepted: .*ms/);
    expect(about(/article\.yaml:4:1 motr/)).toMatch(/accepted: .*motor/);
    expect(about(/scout-settings\.yaml:\d+:\d+ repeats/)).toMatch(/accepted/);
    for (const line of lines) expect(line).toMatch(/^\S+:\d+:\d+ \S+: /);
    expect(fs.existsSync(path.join(folder, 'records'))).toBe(false);
  });

  test('contradictions: throttle above the cap, a hold above the current limit, response without a sink, kv with the propeller on', () => {
    const folder = plainBench({
      rig: [
        ['throttle_cap: 100 %', 'throttle_cap: 80 %'], ['current_mean: { above: 9 A, over', 'current_mean: { above: 1.2 A, over'],
        ['sink: { kind: battery, holds: 8.6 V }', 'sink: { kind: none }'],
      ],
    });
    const campaign = spoolbench(folder, 'run', 'campaigns/scout-settings.yaml');
    expect(campaign).toMatchObject({ code: 2, out: '' });
    expect(campaign.err).toMatch(/scout-settings\.yaml:\d+:\d+ protocols\.1.*throttle_cap.*accepted: at most 80 %/);
    expect(campaign.err).toMatch(/scout-settings\.yaml:\d+:\d+ protocols\.3.*1\.4 A.*current_mean.*accepted: below 1\.2 A/);
    expect(campaign.err).toMatch(/scout-settings\.yaml:\d+:\d+ protocols\.2.*sink/);
    const kv = spoolbench(folder, 'run', 'kv', '--set', 'supply=3 V');
    expect(kv).toMatchObject({ code: 2, out: '' });
    expect(kv.err).toMatch(/kv needs the propeller off, article\.yaml declares it on; accepted/);
    expect(fs.existsSync(path.join(folder, 'records'))).toBe(false);
  });
});

describe('a run that does not end well', () => {
  test('tripped: exit 4, the trip and the record are told even when quiet, stdout stays machine-readable', () => {
    const folder = plainBench({ rig: [['seed: 1 }', 'seed: 1, faults: [{ fault: lost-propeller, at: 5 s }] }']] });
    const said = spoolbench(folder, 'run', 'campaigns/scout-settings.yaml', '--json', '--quiet');
    expect(said.code).toBe(4);
    expect(JSON.parse(said.out)).toMatchObject({ trip: 'PROPELLER_LOST' });
    expect(said.err).toMatch(/Trip PROPELLER_LOST \(found by the station\): Thrust \S+ N at \d+ rpm/);
    const record = /Record: (\S+\.mcap)/.exec(said.err)?.[1] ?? 'no record was named';
    expect(readRecord(path.resolve(folder, record)).outcome).toMatchObject({ outcome: 'tripped', trip: { code: 'PROPELLER_LOST' } });
  });

  test('stop unconfirmed: exit 5, loud', () => {
    const folder = plainBench({ rig: [['seed: 1 }', 'seed: 1, faults: [{ fault: current-saturated, at: 2 s }] }']] });
    const said = spoolbench(folder, 'run', 'efficiency-hold', '--set', 'current=1 A');
    expect(said.code).toBe(5);
    expect(said.out).toContain('CUT THE POWER');
    expect(said.err).toContain('STOP NOT CONFIRMED');
  });
});

describe('exit codes', () => {
  test('where several apply: 5 > 1 > 4 > 3 > 6 > 2 > 0', () => {
    const order: readonly ExitCode[] = [5, 1, 4, 3, 6, 2, 0];
    for (let a = 0; a < order.length; a++) {
      for (let b = a; b < order.length; b++) {
        expect(worst([order[a], order[b]])).toBe(order[a]);
        expect(worst([order[b], order[a]])).toBe(order[a]);
      }
    }
    expect(worst([])).toBe(EXIT.done);
  });

  const of = (outcomes: readonly Outcome[], stopped: string | null = null, good = 0): ExitCode => exitCode({ outcomes, stopped, good, planned: 3 });
  test.each<[readonly Outcome[], ExitCode]>([
    [['done', 'done', 'done'], 0], [['done', 'refused'], 6], [['starved'], 6], [['stopped'], 3], [['finished-early'], 3], [['tripped', 'stopped'], 4],
    [['failed', 'tripped'], 1], [['stop-unconfirmed', 'failed'], 5],
  ])('%j is %i', (outcomes, code) => {
    expect(of(outcomes, null, outcomes.filter((o) => o === 'done').length)).toBe(code);
  });

  test('a campaign stopped between two runs is one that the operator stopped', () => {
    expect(of(['done'], 'stopped by the operator', 1)).toBe(3);
    expect(of(['done'], 'the trip cannot be cleared', 1)).toBe(6);
  });
});
