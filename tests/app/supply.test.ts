// Goal: a campaign on the simulated rig is fed by a programmable supply over real TCP: kv at low voltage and the rest at nominal
//   voltage without a hand; the output is off after a trip and at the end; current limiting is marked in the record.
// Method: whole runs in virtual time; the simulated instrument sets the simulated rig's supply, its meters read it.
import { afterAll, describe, expect, test } from 'vitest';
import { BadInput } from '../../src/app/errors';
import { LIMITING_BEGINS, LIMITING_ENDS, LimitingMarks } from '../../src/app/limiting-marks';
import { openWorld, withSupply } from '../../src/app/open-world';
import { prepareCampaign, type ReadyCampaign } from '../../src/app/prepare';
import type { SuppliedWorld } from '../../src/app/supplied-world';
import { twinInstrument } from '../../src/app/twin-supply';
import { TwinWorld } from '../../src/app/twin-world';
import { channelFacts } from '../../src/model/channel-facts';
import type { SampleBlock } from '../../src/model/sample';
import { readRecord } from '../../src/record/file-reader';
import type { Instrument, Misbehaviour } from '../../src/twin/instrument/instrument';
import { cleanUp } from './kit';
import { foldersIn, journalOf, listening, notedIn, session, tiny, tinyBench, twinInput } from './unattended-kit';
import fs from 'node:fs';
import path from 'node:path';

afterAll(cleanUp);

const SCPI = (more = ''): readonly [string, string] => [
  'supply: { kind: twin, voltage: 7.6 V, current_limit: 15 A, range: 2 V .. 12 V }',
  `supply: { kind: scpi, connection: { kind: twin }, voltage: 7.6 V, current_limit: 15 A, over_voltage: 11 V, range: 2 V .. 10 V, identity: "SPOOLBENCH,SIMULATED"${more} }`,
];

interface Opened {
  readonly world: SuppliedWorld;
  readonly twin: TwinWorld;
  readonly instrument: Instrument;
  readonly heard: string[];
  readonly notes: string[];
}

function open(ready: ReadyCampaign): Opened {
  const heard: string[] = [];
  const notes: string[] = [];
  const twin = new TwinWorld({ ...twinInput(ready), fed: true });
  const instrument = twinInstrument(twin.simulated, { onMessage: (m) => heard.push(m) });
  const world = withSupply({ ...ready, note: (t) => notes.push(t) }, twin, ready.article.nominal_voltage_V, () => Promise.resolve(twin.close()), instrument);
  return { world, twin, instrument, heard, notes };
}

const recordsOf = (folder: string) => fs.readdirSync(path.join(folder, 'runs')).sort().map((f) => readRecord(path.join(folder, 'runs', f)));

describe('a campaign through the simulated instrument', () => {
  test('kv at 3 V and the rest at 7.6 V, unattended; what the instrument was told is what the records were measured at', async () => {
    const bench = tinyBench(tiny('repeats: 2\n', 'protocols: [{ kv: { supply: 3 V } }, blip]\n'), { rig: [SCPI()] });
    let opened: Opened | null = null;
    const end = await session(bench, { world: (ready) => (opened = open(ready)).world });
    const { heard, instrument, world } = opened!;
    await world.closed();
    expect(end).toMatchObject({ good: 4, planned: 4, stopped: null });
    expect(heard).toContain('VOLT 3');
    expect(heard).toContain('VOLT 7.6');
    expect(instrument.state).toMatchObject({ output: false, current_limit_A: 15, over_voltage_V: 11 });
    const folder = foldersIn(bench)[0];
    for (const record of recordsOf(folder)) {
      const set_V = (record.header!.supply as { voltage_V: number }).voltage_V;
      expect(set_V).toBe(record.header!.protocol.name === 'kv' ? 3 : 7.6);
      expect(record.header!.supply!.kind).toBe('scpi');
    }
    // The bench's own voltage channel and the supply's meters, at rest before each run.
    const supplies = notedIn(folder, 'supply');
    expect(supplies).toHaveLength(4);
    for (const s of supplies) expect(s.data.dip_V).toBeGreaterThanOrEqual(0);
    const kv = recordsOf(folder).find((r) => r.header!.protocol.name === 'kv')!;
    const found = JSON.parse(new TextDecoder().decode(kv.attachments.find((a) => a.name.endsWith('found.json') || new TextDecoder().decode(a.data).includes('"meters"'))!.data)) as Record<string, unknown>;
    expect(JSON.stringify(found)).toMatch(/"meters":\{"voltage_V":[23]\.\d+,"current_A":0\.\d+,"limiting":false\}/);
  });

  test('the same seed gives the same bytes through TCP as twice through TCP: waiting for the wire takes no bench time', async () => {
    const bytes = async (): Promise<Buffer> => {
      const bench = tinyBench(tiny('repeats: 1\n', 'protocols: [{ kv: { supply: 3 V } }]\n'), { rig: [SCPI()] });
      let opened: Opened | null = null;
      await session(bench, { world: (ready) => (opened = open(ready)).world });
      await opened!.world.closed();
      const [folder] = foldersIn(bench);
      return fs.readFileSync(path.join(folder, 'runs', fs.readdirSync(path.join(folder, 'runs'))[0]));
    };
    expect((await bytes()).equals(await bytes())).toBe(true);
  });

  test.each<[string, Misbehaviour, RegExp]>([
    ['ignores a voltage', 'ignores-voltage', /set to 3 V and reads back as 7\.6 V.*ignores the command/],
    ['answers every command with an error', 'endless-errors', /still has errors after 100 were read, the last one -310 "System error".*Switch it off and on/],
    ['says nothing any more', 'silent', /did not answer "SYST:ERR\?" within 1000 ms.*is its remote control on/],
    ['answers nonsense', 'garbage', /answered "SYST:ERR\?" with something else.*Correct supply\.commands/],
  ])('a supply that %s stops the campaign before the run, in its own words; it was told to go off, and the run before is kept', async (_, misbehaviour, words_of_it) => {
    const bench = tinyBench(tiny('repeats: 1\n', 'protocols: [blip, { kv: { supply: 3 V } }]\norder: { shuffle: none }\n'), { rig: [SCPI()] });
    let opened: Opened | null = null;
    const words = listening();
    const end = await session(bench, {
      words,
      world: (ready) => {
        opened = open(ready);
        opened.twin.bench.events.subscribe((e) => { if (e.type === 'ended') opened!.instrument.misbehaviour = misbehaviour; });
        return opened.world;
      },
    });
    await opened!.world.closed();
    expect(end.good).toBe(1);
    expect(end.stopped).toMatch(words_of_it);
    // It was told to go off after the last command that failed; where it no longer does as it is told, a person is called.
    const { heard, instrument, notes } = opened!;
    expect(heard.lastIndexOf('OUTP OFF')).toBeGreaterThan(heard.indexOf('VOLT 3'));
    const obeys = misbehaviour === 'ignores-voltage' || misbehaviour === 'endless-errors';
    expect(instrument.state.output).toBe(!obeys);
    expect(notes.some((n) => /could not be switched off at the end.*Switch it off by hand/.test(n))).toBe(misbehaviour !== 'ignores-voltage');
    const [folder] = foldersIn(bench);
    expect(journalOf(folder).some((e) => e.type === 'decided' && e.what === 'stop')).toBe(true);
    expect(recordsOf(folder).map((r) => [r.header!.protocol.name, r.outcome!.outcome, r.end.status])).toEqual([['blip', 'done', 'complete']]);
  });

  test('after a trip the output goes off once the motor stands still, and on again when the campaign file lists the trip', async () => {
    const bench = tinyBench(tiny('repeats: 1\non_trip: { retry_once: [SENSOR_STALE] }\n', 'protocols: [soft]\n'), {
      rig: [SCPI(), ['seed: 1 }', 'seed: 1, faults: [{ fault: current-silent, at: 500 ms, for: 200 ms }] }']],
      files: { 'protocols/soft.yaml': 'spoolbench: 1\nprotocol: soft\nsegments:\n  - { level: { throttle: 20 %, for: 1 s } }\n' },
    });
    let opened: Opened | null = null;
    const states: string[] = [];
    await session(bench, {
      world: (ready) => {
        opened = open(ready);
        const { twin, instrument } = opened;
        twin.bench.events.subscribe((e) => { if (e.type === 'tripped' || e.type === 'stopped') states.push(`${e.type} ${instrument.state.output ? 'on' : 'off'}`); });
        return opened.world;
      },
    });
    const { notes, world } = opened!;
    await world.closed();
    expect(states.slice(0, 2)).toEqual(['tripped on', 'stopped on']);
    expect(notes.filter((n) => n.includes('switched off after the trip')).length).toBeGreaterThanOrEqual(1);
    expect(recordsOf(foldersIn(bench)[0]).length).toBe(2);
    const outputs = opened!.heard.filter((m) => m.startsWith('OUTP O'));
    expect(outputs.join(' ')).toMatch(/OUTP OFF OUTP ON OUTP OFF OUTP ON .*OUTP OFF$/);
  });
});

describe('refused before anything turns', () => {
  const problems = (rig: readonly (readonly [string, string])[]): string => {
    try {
      prepareCampaign(tinyBench(tiny('repeats: 1\n'), { rig }).file);
      return '';
    } catch (error) {
      return (error as BadInput).lines.join('\n');
    }
  };
  const withConnection = (connection: string): readonly [string, string] => [SCPI()[0], SCPI()[1].replace('{ kind: twin }', connection)];

  test('a real supply on the simulated rig, and a protection that is not above the voltage', () => {
    expect(problems([withConnection('{ kind: tcp, host: 192.0.2.1 }')])).toMatch(/simulated rig is fed by a simulated supply/);
    expect(problems([[SCPI()[0], SCPI()[1].replace('over_voltage: 11 V', 'over_voltage: 7.6 V')]])).toMatch(/not above the 7.6 V/);
    expect(problems([SCPI()])).toBe('');
  });

  test('an instrument of another make is refused at the greeting, as bad input', async () => {
    const ready = prepareCampaign(tinyBench(tiny('repeats: 1\n'), { rig: [[SCPI()[0], SCPI()[1].replace('SPOOLBENCH,SIMULATED', 'OTHER')]] }).file);
    const world = openWorld(ready) as SuppliedWorld;
    await expect(world.connect()).rejects.toThrow(BadInput);
    await world.closed();
  });
});

describe('current limiting in the samples', () => {
  const rig = prepareCampaign(tinyBench(tiny('repeats: 1\n')).file).rig;
  const channels = channelFacts(rig);
  const blockOf = (rows: readonly (readonly [t_ms: number, amps: number, volts: number])[]): SampleBlock => ({
    rows: rows.length, tick_us: Float64Array.from(rows, (r) => r[0] * 1000), throttle: new Uint16Array(rows.length), state: new Uint8Array(rows.length), ordinal: new Uint16Array(rows.length),
    fresh: new Uint8Array(rows.length).fill(255), valid: new Uint8Array(rows.length).fill(255),
    counts: channels.map((c) => Int32Array.from(rows, (r) => (c.kind === 'current' ? 32768 + Math.round(r[1] / 0.00125) : c.kind === 'voltage' ? Math.round(r[2] / 0.00015625) : 0))),
  });
  const setting = { voltage_V: 7.6, current_limit_A: 15 };

  test('an episode has a beginning and an end, at the rows that showed it; ripple makes one of it', () => {
    const marks = new LimitingMarks(channels, setting);
    const first = marks.take(blockOf([[0, 14.7, 7.0], [1, 10, 7.5], [50, 14.7, 7.0]]));
    const second = marks.take(blockOf([[100, 10, 7.5], [101, 10, 7.5], [102, 14.7, 7.0]]));
    expect(first.map((m) => [m.tick_us / 1000, m.type === 'mark' && m.label])).toEqual([[0, LIMITING_BEGINS]]);
    expect(second.map((m) => [m.tick_us / 1000, m.type === 'mark' && m.label])).toEqual([[50, LIMITING_ENDS], [102, LIMITING_BEGINS]]);
  });

  test('the boundary: 97 % of the limit and below 95 % of the voltage, both', () => {
    const marked = (amps: number, volts: number): boolean => new LimitingMarks(channels, setting).take(blockOf([[0, amps, volts]])).length > 0;
    expect(marked(14.56, 7.21)).toBe(true);
    expect(marked(14.54, 7.21)).toBe(false);
    expect(marked(14.56, 7.23)).toBe(false);
    expect(new LimitingMarks(channels, null).take(blockOf([[0, 14.56, 7.21]]))).toEqual([]);
  });

  test('a supply that is too weak for the drive: marked in the record and told, before it lasts long enough to trip', async () => {
    const bench = tinyBench(tiny('repeats: 1\n', 'protocols: [kick]\n'), {
      rig: [[SCPI()[0], SCPI()[1].replace('current_limit: 15 A', 'current_limit: 2 A')], ['sink: { kind: battery, holds: 8.6 V }', 'sink: { kind: clamp, holds: 8.6 V }'], ['supply_sag: { below: 75 %, for: 50 ms }', 'supply_sag: { below: 30 %, for: 400 ms }']],
      files: { 'protocols/kick.yaml': 'spoolbench: 1\nprotocol: kick\nsegments:\n  - { level: { throttle: 20 %, for: 1 s } }\n  - { level: { throttle: 90 %, for: 60 ms } }\n' },
    });
    let opened: Opened | null = null;
    const words = listening();
    await session(bench, { words, world: (ready) => (opened = open(ready)).world });
    await opened!.world.closed();
    const [record] = recordsOf(foldersIn(bench)[0]);
    const labels = record.events.flatMap((e) => (e.type === 'mark' ? [e.label] : []));
    expect(labels[0]).toBe(LIMITING_BEGINS);
    expect(words.notes.join('\n')).toMatch(/was at its current limit in \d+ rows \(\d+ ms\)/);
  });
});
