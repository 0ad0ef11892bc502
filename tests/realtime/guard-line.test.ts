// Goal: nothing that a line or a stranger does to the bytes harms: damage is counted and survived, or the motor stops; a board
// that is not ours is named as what it is, before anything is armed; a main process that is killed stops the motor.
// Method: a proxy between guard and simulated board that mangles frames; ends that say nothing, or something else.
import { once } from 'node:events';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { encodeFrame, FrameDecoder } from '../../src/link/codec';
import type { BoardPort } from '../../src/host/board-port';
import { sharedClock_us } from '../../src/host/guard/shared-clock';
import { openSerialPort } from '../../src/host/serial-port';
import { IDENTITY_VERSION } from '../../src/wire/layout';
import { MSG_IDENTITY, MSG_ROW } from '../../src/wire/messages';
import { cleanUp } from '../app/kit';
import { seeded } from '../record/make';
import { cable, child, connected, endAll, HAS_SOCAT, playOnce, serialBench, Twins, until } from './guard-kit';

const SHORT = 'protocols/short.yaml';
/** What becomes of the frames of the board; receives each payload, returns what is written instead. */
type Mangle = (payload: Uint8Array) => readonly Uint8Array[];

const open = (port: string, onBytes: (bytes: Uint8Array) => void): Promise<BoardPort> =>
  openSerialPort({ port, usb: null, baud: 921_600, keep_bytes: 100_000 }, { onBytes, onLost: () => undefined });

describe.skipIf(!HAS_SOCAT)('the line', () => {
  let twins: Twins;
  const ports: BoardPort[] = [];
  beforeAll(() => { twins = new Twins(); });
  afterAll(async () => {
    for (const port of ports) await port.close();
    endAll();
    cleanUp();
  });

  /** A bench whose board is reached through a mangling proxy. */
  async function mangled(mangle: Mangle, level_s = 2): Promise<{ folder: string; board: string }> {
    const near = await cable();
    const far = await cable();
    const folder = serialBench({ port: near.host, level_s });
    await twins.serve(far.board, folder, SHORT);
    const host = await open(near.board, (bytes) => { toBoard.send(bytes); });
    const frames = new FrameDecoder((buffer, length) => {
      for (const bytes of mangle(buffer.slice(0, length))) host.send(bytes);
    });
    const toBoard = await open(far.host, (bytes) => { frames.push(bytes); });
    ports.push(host, toBoard);
    return { folder, board: far.board };
  }

  /** Some of the rows, seeded: about one in `one`. Answers and events pass. */
  function sometimes(one: number, seed: number, act: (payload: Uint8Array) => readonly Uint8Array[]): Mangle {
    const random = seeded(seed);
    return (payload) => (payload[0] === MSG_ROW && Math.abs(random()) % 1 < 1 / one ? act(payload) : [encodeFrame(payload)]);
  }

  const garbage = Uint8Array.from({ length: 40 }, (_, i) => (i * 37) & 0xff);
  let held: Uint8Array | null = null;
  const HARMLESS: readonly (readonly [string, Mangle, 'bad_frames' | 'missing_frames' | 'doubled_frames'])[] = [
    ['garbage between frames', sometimes(20, 1, (p) => [garbage, encodeFrame(p)]), 'bad_frames'],
    ['half frames', sometimes(20, 2, (p) => [encodeFrame(p).subarray(0, 9)]), 'bad_frames'],
    ['frames that come twice', sometimes(5, 3, (p) => [encodeFrame(p), encodeFrame(p)]), 'doubled_frames'],
    ['frames that never come', sometimes(20, 4, () => []), 'missing_frames'],
  ];

  test('garbage, half, doubled and lost frames are counted; the run is done', async () => {
    await Promise.all(HARMLESS.map(async ([name, mangle, counted]) => {
      const { folder } = await mangled(mangle);
      const there = await connected(folder, SHORT);
      const { record } = await playOnce(there);
      expect(record.outcome, name).toMatchObject({ outcome: 'done', stop_confirmed: true });
      const health = there.world.health()!;
      expect(health[counted], name).toBeGreaterThan(10);
      // No row twice, none out of order.
      const ticks = record.groups[0].tick_us;
      expect(ticks.every((t, i) => i === 0 || t > ticks[i - 1]), name).toBe(true);
      await there.world.closed();
    }));
  });

  test('rows out of order stop the motor', async () => {
    let driving = false;
    const { folder, board } = await mangled((payload) => {
      driving ||= twins.when(board, 'driving') !== undefined;
      if (!driving || payload[0] !== MSG_ROW) return [encodeFrame(payload)];
      if (held === null) {
        held = encodeFrame(payload);
        return [];
      }
      const late = held;
      held = null;
      return [encodeFrame(payload), late];
    });
    const there = await connected(folder, SHORT);
    const { record } = await playOnce(there);
    expect(record.outcome).toMatchObject({ outcome: 'tripped', stop_confirmed: true, trip: { code: 'OUT_OF_ORDER' } });
    await there.world.closed();
  });

  test('another wire version is named, and nothing is armed', async () => {
    const { folder, board } = await mangled((payload) => {
      if (payload[0] === MSG_IDENTITY) payload[IDENTITY_VERSION] = 9;
      return [encodeFrame(payload)];
    });
    await expect(connected(folder, SHORT)).rejects.toThrow(/wire version 9, this program 1\. Load the firmware/);
    expect(twins.states(board)).toEqual(['safe']);
  });

  test('a silent board, a stranger, a port that is not there and one in use: each by its name', async () => {
    const silent = await cable();
    const strange = await cable();
    const held = await cable();
    ports.push(await open(silent.board, () => undefined), await open(held.host, () => undefined));
    const talker = await open(strange.board, () => undefined);
    ports.push(talker);
    const talking = setInterval(() => { talker.send(Buffer.from('$GPGGA,092750.000,5321.6802,N,00630.3372,W,1,8,1.03,61.7,M\r\n')); }, 100);
    try {
      await Promise.all([
        expect(connected(serialBench({ port: silent.host }), SHORT)).rejects.toThrow(/the board is silent: no byte in 4 s/),
        expect(connected(serialBench({ port: strange.host }), SHORT)).rejects.toThrow(/this is no board of ours: \d+ bytes came in 4 s, none of them a frame/),
        expect(connected(serialBench({ port: '/tmp/no-such-port' }), SHORT)).rejects.toThrow(/there is no such port\. Ports here:/),
        expect(connected(serialBench({ port: held.host }), SHORT)).rejects.toThrow(/another program has this port/),
      ]);
    } finally {
      clearInterval(talking);
    }
  });

  test('the main process is killed: the guard stops the motor, sees it still, and ends', async () => {
    const { host, board } = await cable();
    const folder = serialBench({ port: host, level_s: 20 });
    await twins.serve(board, folder, SHORT);
    const main = child('child-main.ts', [folder, SHORT]);
    const [{ guard }] = await once(main, 'message') as [{ guard: number }];
    await until(() => twins.when(board, 'driving') !== undefined, 20_000, 'the board drives');
    await until(() => sharedClock_us() > (twins.when(board, 'driving') ?? Infinity) + 1_500_000, 5000, 'the motor turns');
    const killed_us = sharedClock_us();
    main.kill('SIGKILL');
    await until(() => twins.states(board).at(-1) === 'safe', 5000, 'stopped by the guard');
    expect((twins.when(board, 'safe') ?? Infinity) - killed_us).toBeLessThan(100_000);
    await until(() => !isAlive(guard), 10_000, 'the guard has ended');
    // An orderly stop, not the deadman.
    expect(twins.states(board)).toEqual(['safe', 'ready', 'driving', 'safe']);
  });
});

function isAlive(pid: number): boolean {
  try {
    process.kill(pid, 0);
    return true;
  } catch {
    return false;
  }
}
