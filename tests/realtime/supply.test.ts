// Goal: however the program ends, short of being killed outright, the supply's output goes off; and the driver works over a real socket and a real serial port.
// Method: the simulated instrument behind a TCP server in this process, a child process that ends in each way; socat's pseudo-terminals for the serial port. Real time.
import { spawn } from 'node:child_process';
import fs from 'node:fs';
import { createInterface } from 'node:readline';
import path from 'node:path';
import { SerialPort } from 'serialport';
import { afterEach, expect, test } from 'vitest';
import { ScpiSupply } from '../../src/host/scpi/driver';
import { serialLine, tcpLine } from '../../src/host/scpi/line';
import { serveTcp, type Served } from '../../src/host/tcp-server';
import { supplySchema } from '../../src/model/files/rig-supply';
import { Instrument } from '../../src/twin/instrument/instrument';
import { serveTwin } from '../../src/app/serve-file';
import type { TwinHappening } from '../../src/app/twin-serve';
import { tempFolder, cleanUp } from '../app/kit';
import { cable, endAll, HAS_SOCAT, until } from './guard-kit';

const closing: (() => Promise<unknown> | void)[] = [];
afterEach(async () => {
  for (const close of closing.splice(0).reverse()) await close();
  endAll();
  cleanUp();
});

function instrumentHere(): { instrument: Instrument; heard: string[] } {
  const heard: string[] = [];
  const plant = { voltage_V: 0, current_A: 0.02, limiting: false };
  const instrument = new Instrument({ set: (s) => { plant.voltage_V = s.output ? s.voltage_V : 0; }, read: () => plant }, { onMessage: (m) => heard.push(m) });
  return { instrument, heard };
}

async function served(instrument: Instrument): Promise<Served> {
  const server = await serveTcp(instrument);
  closing.push(() => server.close());
  return server;
}

const file = (connection: object) => {
  const value = supplySchema.parse({ kind: 'scpi', connection, voltage: '7.6 V', current_limit: '15 A', range: '2 V .. 12 V' });
  if (value.kind !== 'scpi') throw new Error('not a programmable supply');
  return value;
};

test.each([['return', 0], ['exit', 3], ['throw', 1], ['reject', 1], ['SIGINT', 'SIGINT'], ['SIGTERM', 'SIGTERM'], ['SIGHUP', 'SIGHUP']] as const)('a program that ends by %s leaves the output off', async (way, ends) => {
  const { instrument, heard } = instrumentHere();
  const { port } = await served(instrument);
  const child = spawn(process.execPath, ['--import', 'tsx', path.join(import.meta.dirname, 'child-supply.ts'), String(port), way], { stdio: ['ignore', 'pipe', 'ignore'] });
  closing.push(() => { child.kill('SIGKILL'); });
  const ended = new Promise<number | string | null>((resolve) => { child.once('exit', (code, signal) => { resolve(signal ?? code); }); });
  createInterface({ input: child.stdout }).on('line', (line) => {
    if (line === 'on' && way.startsWith('SIG')) child.kill(way as NodeJS.Signals);
  });
  expect(await ended).toBe(ends);
  await until(() => !instrument.state.output, 2000, 'output off');
  expect(heard.lastIndexOf('OUTP OFF'), 'it had been on').toBeGreaterThan(heard.indexOf('OUTP ON'));
  expect(heard).toContain('OUTP ON');
}, 30_000);

test('over a real socket: set, measured, dropped by the instrument, greeted anew', async () => {
  const { instrument, heard } = instrumentHere();
  const server = await served(instrument);
  const notes: string[] = [];
  const supply = await ScpiSupply.open({ file: file({ kind: 'tcp', host: '127.0.0.1', port: server.port }), open: tcpLine('127.0.0.1', server.port), onNote: (t) => notes.push(t) }, 7.6);
  closing.push(() => supply.close());
  await supply.output(true);
  expect((await supply.measure()).voltage_V).toBeCloseTo(7.6, 6);
  server.dropAll();
  await until(() => notes.length > 0, 2000, 'the loss told');
  await expect(supply.setVoltage(3)).rejects.toThrow(/greeted anew and is switched off/);
  await supply.setVoltage(3);
  expect(instrument.state).toMatchObject({ voltage_V: 3, output: false });
  expect(heard.filter((m) => m === '*IDN?')).toHaveLength(2);
});

test('nobody listens there: named, with what to look at', async () => {
  const { instrument } = instrumentHere();
  const server = await serveTcp(instrument);
  await server.close();
  await expect(ScpiSupply.open({ file: file({ kind: 'tcp', host: '127.0.0.1', port: server.port }), open: tcpLine('127.0.0.1', server.port) }, 7.6)).rejects.toThrow(/cannot be reached: nothing listens there.*supply\.connection/);
  await expect(ScpiSupply.open({ file: file({ kind: 'serial', port: '/dev/no-such-port' }), open: serialLine('/dev/no-such-port', 9600) }, 7.6)).rejects.toThrow(/no-such-port cannot be reached.*plugged in/);
});

test.runIf(HAS_SOCAT)('over a real serial port (a pseudo-terminal): the same driver, and a port that goes away', async () => {
  const folder = tempFolder();
  const [ours, theirs] = [path.join(folder, 'host'), path.join(folder, 'instrument')];
  const socat = spawn('socat', [`pty,raw,echo=0,link=${ours}`, `pty,raw,echo=0,link=${theirs}`], { stdio: 'ignore' });
  closing.push(() => { socat.kill(); });
  await until(() => fs.existsSync(ours) && fs.existsSync(theirs), 5000, 'two pseudo-terminals');
  const { instrument, heard } = instrumentHere();
  const far = new SerialPort({ path: theirs, baudRate: 9600 });
  closing.push(() => new Promise<void>((done) => { if (far.isOpen) far.close(() => { done(); }); else done(); }));
  far.on('data', (bytes: Buffer) => {
    const answer = instrument.receive(bytes);
    if (answer.length > 0) far.write(answer);
  });
  const supply = await ScpiSupply.open({ file: file({ kind: 'serial', port: ours }), open: serialLine(ours, 9600) }, 7.6);
  await supply.output(true);
  await supply.setVoltage(3);
  expect(instrument.state).toMatchObject({ voltage_V: 3, output: true });
  await supply.close();
  expect(instrument.state.output).toBe(false);
  expect(heard[0]).toBe('*IDN?');
}, 20_000);

test.runIf(HAS_SOCAT)('the served simulated bench has its supply on a port of its own: off at first, it feeds the bench when it is told to', async () => {
  const { board } = await cable();
  const told: TwinHappening[] = [];
  let end: () => void = () => undefined;
  const serving = serveTwin({ bench: 'demo/bench', port: board, supplyPort: 0, hands: false, tell: (h) => told.push(h) }, new Promise<void>((done) => { end = done; }));
  closing.push(async () => {
    end();
    await serving;
  });
  const port = (): number => Number(told.flatMap((h) => (h.what === 'port' ? (/on TCP port (\d+), its output off/.exec(h.text)?.[1] ?? []) : []))[0]);
  await until(() => port() > 0, 10_000, 'the port told');
  const supply = await ScpiSupply.open({ file: file({ kind: 'tcp', host: '127.0.0.1', port: port() }), open: tcpLine('127.0.0.1', port()) }, 7.6);
  closing.push(() => supply.close());
  await supply.output(true);
  await until(() => told.some((h) => h.what === 'supply' && h.output && h.voltage_V === 7.6), 2000, 'the supply told as on');
  expect((await supply.measure()).voltage_V).toBeGreaterThan(7);
  await supply.setVoltage(5);
  expect(told.at(-1)).toMatchObject({ what: 'supply', output: true, voltage_V: 5 });
  await supply.close();
  await until(() => told.some((h) => h.what === 'supply' && !h.output), 2000, 'the supply told as off');
  // A second bench cannot have a port that is taken, and says so.
  const taken = await serveTcp(instrumentHere().instrument);
  closing.push(() => taken.close());
  const other = await cable();
  await expect(serveTwin({ bench: 'demo/bench', port: other.board, supplyPort: taken.port, hands: false, tell: () => undefined }, Promise.resolve())).rejects.toThrow(new RegExp(String(taken.port)));
}, 40_000);
