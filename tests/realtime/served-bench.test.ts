// Goal: a bench of a board on a port and a programmable supply on the network runs unattended by the command alone: kv at low
//   voltage and another protocol at nominal voltage in one campaign; the output is off after a trip and at the end.
// Method: `twin serve` with its supply on TCP and `run` in processes of their own, as a person types them; what the served bench
//   tells, line by line, against what the records say. Real time.
import { spawn, type ChildProcess } from 'node:child_process';
import fs from 'node:fs';
import path from 'node:path';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { between, channelOf, withRole } from '../../src/analysis/run-data';
import { mean } from '../../src/analysis/stats/summary';
import type { TwinHappening } from '../../src/app/twin-serve';
import { runDataOf } from '../../src/app/run-data';
import { readRecord } from '../../src/record/file-reader';
import type { RunRecord } from '../../src/record/reader';
import { cleanUp, eventsOf } from '../app/kit';
import { campaignsIn, recordsIn, type Said } from '../cli/kit';
import { cable, endAll, HAS_SOCAT, serialBench, until } from './guard-kit';

const BIN = path.resolve(import.meta.dirname, '../../bin/spoolbench.mjs');

/** The motor is bare: two protocols that need no propeller, so that nobody has to put one on. */
const CAMPAIGN = `spoolbench: 1
campaign: two-voltages
rig: ../rig.yaml
article: ../article.yaml
protocols:
  - kv: { supply: 3 V, low_for: 300 ms, rise: 1 s, plateau: 500 ms, fall: 500 ms }
  - spin-up: { starts: 1, rest: 300 ms }
repeats: 1
order: { shuffle: none }
between_runs: { zero: 100 ms }
`;

const MANUAL = 'supply: { kind: manual, voltage: 7.6 V, current_limit: 15 A, range: 2 V .. 12 V }';
const scpi = (port: number): string =>
  `supply: { kind: scpi, connection: { kind: tcp, host: 127.0.0.1, port: ${port} }, identity: "SPOOLBENCH,SIMULATED", voltage: 7.6 V, current_limit: 15 A, over_voltage: 11 V, range: 2 V .. 10 V }`;

describe.skipIf(!HAS_SOCAT)('board and supply of a served bench, driven by the command', () => {
  let bench: string;
  let served: ChildProcess;
  const told: TwinHappening[] = [];

  beforeAll(async () => {
    const line = await cable();
    bench = serialBench({ port: line.host, propeller: 'off', level_s: 8, files: { 'campaigns/two-voltages.yaml': CAMPAIGN } });
    fs.rmSync(path.join(bench, 'protocols/creep-up.ts'));
    served = spawn(process.execPath, [BIN, 'twin', 'serve', '--port', line.board, '--bench', bench, '--supply-port', '0', '--json'], { stdio: ['pipe', 'pipe', 'inherit'] });
    let rest = '';
    served.stdout!.on('data', (piece: Buffer) => {
      const lines = (rest + piece.toString()).split('\n');
      rest = lines.pop()!;
      for (const text of lines) told.push(JSON.parse(text) as TwinHappening);
    });
    const port = (): number => Number(told.flatMap((h) => (h.what === 'port' ? (/on TCP port (\d+), its output off/.exec(h.text)?.[1] ?? []) : []))[0]);
    await until(() => port() > 0, 60_000, 'the port of the supply told');
    const file = path.join(bench, 'rig.yaml');
    const rig = fs.readFileSync(file, 'utf8');
    expect(rig).toContain(MANUAL);
    fs.writeFileSync(file, rig.replace(MANUAL, scpi(port())));
  }, 90_000);
  afterAll(() => {
    served.kill('SIGKILL');
    endAll();
    cleanUp();
  });

  /** Starts the command with nobody at the terminal. */
  function run(...args: readonly string[]): { readonly child: ChildProcess; readonly ended: Promise<Said> } {
    const child = spawn(process.execPath, [BIN, 'run', ...args, '--yes', '--no-report'], { cwd: bench, stdio: ['ignore', 'pipe', 'pipe'], env: { ...process.env, NO_COLOR: '1' } });
    let [out, err] = ['', ''];
    child.stdout.on('data', (piece: Buffer) => { out += piece.toString(); });
    child.stderr.on('data', (piece: Buffer) => { err += piece.toString(); });
    const ended = new Promise<Said>((resolve) => { child.once('close', (code) => { resolve({ code, out, err }); }); });
    return { child, ended };
  }

  const recordsOf = (campaign: string): RunRecord[] =>
    recordsIn(campaignsIn(path.join(bench, 'records')).find((folder) => path.basename(folder).startsWith(campaign))!).map((file) => readRecord(file));

  /** Mean of the bench's own voltage channel over the rest for the load cell's zero, before the motor turns, V. */
  function rest_V(record: RunRecord): number {
    const data = runDataOf(record);
    const [rest] = withRole(data, 'zero-before');
    const volts = between(channelOf(data, 'voltage')!, rest.start_s, rest.end_s).value;
    expect(volts.length).toBeGreaterThan(0);
    return mean(volts);
  }

  test('kv at 3 V and spin-up at 7.6 V without a hand; the output is off when the command has ended', async () => {
    const from = told.length;
    const said = await run('campaigns/two-voltages.yaml').ended;
    expect(said.code, said.err).toBe(0);
    const records = recordsOf('two-voltages');
    expect(records.map((r) => [r.header!.protocol.name, (r.header!.supply as { voltage_V: number }).voltage_V, r.outcome!.outcome])).toEqual(
      [['kv', 3, 'done'], ['spin-up', 7.6, 'done']]);
    for (const record of records) expect(Math.abs(rest_V(record) - (record.header!.supply as { voltage_V: number }).voltage_V)).toBeLessThan(0.05);
    // What the supply was told, in order: on, down for kv, up again, off.
    const supply = told.slice(from).flatMap((h) => (h.what === 'supply' ? [h.output ? h.voltage_V : 'off'] : []));
    expect(supply).toEqual([7.6, 3, 7.6, 'off']);
  }, 90_000);

  test('a trip in the middle: once the motor is measured still the output goes off, and stays off; the record is whole', async () => {
    const from = told.length;
    const now = (): TwinHappening[] => told.slice(from);
    const { ended } = run('protocols/short.yaml');
    const driving = (): boolean => now().some((h) => h.what === 'state' && h.state === 'driving');
    await until(driving, 60_000, 'the motor driven');
    served.stdin!.write('stop-input on\n');
    const said = await ended;
    expect(said.code, said.err).toBe(4);
    expect(said.err).toContain("The supply's output was switched off after the trip.");
    const supply = now().flatMap((h) => (h.what === 'supply' ? [{ output: h.output, t_s: h.t_s }] : []));
    expect(supply.map((h) => h.output)).toEqual([true, false]);
    const [record] = recordsOf('short');
    expect(record.end.status).toBe('complete');
    expect(record.outcome).toMatchObject({ outcome: 'tripped', stop_confirmed: true, trip: { code: 'STOP_INPUT' } });
    // One clock: the board's own time stands in its record and in what the served bench tells.
    const [[trip], [still]] = [eventsOf(record, 'tripped'), eventsOf(record, 'stopped')];
    expect(still).toMatchObject({ confirmed: true });
    expect(still.tick_us).toBeGreaterThan(trip.tick_us);
    expect(supply[1].t_s).toBeGreaterThanOrEqual(still.tick_us / 1e6);
    expect(supply[1].t_s).toBeLessThan(still.tick_us / 1e6 + 2);
  }, 90_000);
});
