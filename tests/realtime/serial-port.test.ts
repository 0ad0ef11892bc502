// Goal: an abort leaves in one write; what a port would not take never piles up, and never reaches the next connection.
// Method: the port object over a pipe that is full, over a pair of pseudo-terminals, and a listing of our own.
import { spawnSync } from 'node:child_process';
import fs from 'node:fs';
import path from 'node:path';
import { afterAll, describe, expect, test } from 'vitest';
import { pathOf } from '../../src/host/serial-list';
import { openSerialPort, SerialBoard, type RawPort } from '../../src/host/serial-port';
import { cleanUp, tempFolder } from '../app/kit';
import { cable, endAll, HAS_SOCAT, sleep, until } from './guard-kit';

afterAll(() => { endAll(); cleanUp(); });

/** A descriptor that takes a pipe's worth of bytes and then no more, and a poller that is told by hand when there is room. */
function fullPipe() {
  const name = path.join(tempFolder(), 'pipe');
  expect(spawnSync('mkfifo', [name]).status).toBe(0);
  const fd = fs.openSync(name, fs.constants.O_RDWR | fs.constants.O_NONBLOCK);
  const room: ((error: Error | null) => void)[] = [];
  const raw: RawPort = {
    fd, poller: { once: (event, callback) => { if (event === 'writable') room.push(callback); } },
    flush: () => Promise.resolve(), close: () => { fs.closeSync(fd); return Promise.resolve(); },
  };
  const drain = (): Buffer => {
    const buffer = Buffer.alloc(1 << 20);
    let got = 0;
    try {
      for (;;) got += fs.readSync(fd, buffer, got, buffer.length - got, null);
    } catch {
      return buffer.subarray(0, got);
    }
  };
  return { raw, drain, makeRoom: () => { for (const call of room.splice(0)) call(null); } };
}

const lost: string[] = [];
const listener = { onBytes: () => undefined, onLost: (reason: string) => { lost.push(reason); } };

test('bytes are handed on before send returns', () => {
  const pipe = fullPipe();
  const port = new SerialBoard('pipe', pipe.raw, listener, 0);
  port.send(Uint8Array.of(1, 2, 3));
  expect([...pipe.drain()]).toEqual([1, 2, 3]);
});

test('a port that takes no more keeps the newest frame only; nothing throws, nothing is half sent', () => {
  const pipe = fullPipe();
  const port = new SerialBoard('pipe', pipe.raw, listener, 0);
  const big = new Uint8Array(65_536).fill(7);
  port.send(big); // fills the pipe
  port.send(Uint8Array.of(1, 1)); // would not be taken
  port.send(Uint8Array.of(2, 2)); // an old permit
  port.send(Uint8Array.of(3, 3)); // the stop
  expect(pipe.drain().length).toBe(65_536);
  pipe.makeRoom();
  expect([...pipe.drain()]).toEqual([1, 1, 3, 3]);
  port.send(Uint8Array.of(4));
  expect([...pipe.drain()]).toEqual([4]);
});

test('what waits in a port dies with it', async () => {
  const pipe = fullPipe();
  const port = new SerialBoard('pipe', pipe.raw, listener, 0);
  port.send(new Uint8Array(65_536));
  port.send(Uint8Array.of(9, 9));
  const again = port.close();
  pipe.makeRoom();
  port.send(Uint8Array.of(8));
  await Promise.all([again, port.close()]);
  expect(lost).toEqual([]);
});

describe('which port is meant', () => {
  const PORTS = [
    { path: '/dev/ttyACM0', vendorId: '2341', productId: '0043', serialNumber: 'A1' },
    { path: '/dev/ttyACM1', vendorId: '2341', productId: '0043', serialNumber: 'B2' },
    { path: '/dev/ttyS0' },
  ];
  const named = (serial: string | null, product = '0043') => pathOf({ port: null, usb: { vendor: '2341', product, serial } }, () => Promise.resolve(PORTS));

  test('a path as it stands, an identity as it is plugged', async () => {
    expect(await pathOf({ port: '/dev/x', usb: null })).toBe('/dev/x');
    expect(await named('B2')).toBe('/dev/ttyACM1');
  });

  test('none and several are errors that list what there is', async () => {
    await expect(named('C3')).rejects.toMatchObject({ code: 'MISSING', message: expect.stringContaining('/dev/ttyACM0 (2341:0043 serial A1)') as string });
    await expect(named(null)).rejects.toMatchObject({ code: 'AMBIGUOUS', message: expect.stringContaining('link.usb.serial') as string });
    await expect(pathOf({ port: null, usb: null })).rejects.toMatchObject({ code: 'NOT_NAMED' });
  });
});

describe.skipIf(!HAS_SOCAT)('over a pseudo-terminal', () => {
  const open = (port: string, onBytes: (bytes: Uint8Array) => void = () => undefined, onLost: (reason: string) => void = () => undefined) =>
    openSerialPort({ port, usb: null, baud: 115_200 }, { onBytes, onLost });

  test('a new connection hears nothing of the one before', async () => {
    const { host, board } = await cable();
    const far = await open(board);
    const first = await open(host);
    await first.close();
    far.send(Uint8Array.of(1, 2, 3)); // to nobody
    await sleep(50);
    const heard: number[] = [];
    const second = await open(host, (bytes) => { heard.push(...bytes); });
    await sleep(50);
    far.send(Uint8Array.of(4));
    await until(() => heard.includes(4), 5000, 'the new byte');
    expect(heard).toEqual([4]);
    await Promise.all([second.close(), far.close()]);
  });

  test('a pulled plug is told once, within a moment, and closing works after it', async () => {
    const { host, pull } = await cable();
    const reasons: string[] = [];
    const port = await open(host, undefined, (reason) => { reasons.push(reason); });
    pull();
    await until(() => reasons.length > 0, 1000, 'the loss');
    await port.close();
    expect(reasons).toEqual([expect.stringContaining('is lost')]);
  });
});
