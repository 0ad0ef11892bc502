// Goal: the guard keeps its word to both sides: it beats and is beaten, it never drives for a main process that is gone, and
// nothing of one connection reaches the next.
// Method: the guard itself in virtual time, the real controller core behind a port in memory.
import { describe, expect, test } from 'vitest';
import { encodeFrame, FrameDecoder } from '../../src/link/codec';
import type { RigLink } from '../../src/model/files/rig';
import { CMD_HELLO, CMD_PERMIT, CMD_SEGMENT, STATE_DRIVING, STATE_SAFE, STATE_TRIPPED } from '../../src/wire/messages';
import { commandPayload } from '../../src/link/commands';
import { rowPayload } from '../link/build';
import { level } from '../station/bench';
import { GuardBench, UID, type Opened } from './bench';

/** Ids of the commands in these bytes. */
function ids(pieces: readonly Uint8Array[]): number[] {
  const found: number[] = [];
  const decoder = new FrameDecoder((payload) => found.push(payload[0]));
  for (const piece of pieces) decoder.push(piece);
  return found;
}

describe('heartbeats', () => {
  test('permits go out every 25 ms while the motor drives, and the main process hears a state every 50 ms', async () => {
    const bench = await new GuardBench().start();
    const port = bench.ports[0];
    const said = bench.said.length;
    const before = port.all.length;
    await bench.run(1);
    const permits = ids(port.all.slice(before)).filter((id) => id === CMD_PERMIT).length;
    expect(permits).toBeGreaterThanOrEqual(36);
    expect(permits).toBeLessThanOrEqual(44);
    const states = bench.said.slice(said).filter((m) => m.type === 'state').length;
    expect(states).toBeGreaterThanOrEqual(16);
    expect(bench.core.getState()).toBe(STATE_DRIVING);
  });

  test('a main process that falls silent for 500 ms: the motor stops, and no sooner', async () => {
    const bench = await new GuardBench().start();
    await bench.run(0.5);
    bench.mainAlive = false;
    const last_us = bench.now_us;
    await bench.run(3);
    expect(bench.trips[0]).toMatchObject({ code: 'HOST_STALLED', by: 'station' });
    // The last beat came up to 100 ms before it fell silent.
    expect(bench.lastDriven_us - last_us).toBeGreaterThanOrEqual(400_000);
    expect(bench.lastDriven_us - last_us).toBeLessThanOrEqual(510_000);
    expect(bench.core.getState()).toBe(STATE_TRIPPED);
  });

  test('a main process that is gone: the motor is stopped in order, standstill is measured, then the port is let go', async () => {
    const bench = await new GuardBench().start();
    await bench.run(1);
    const asked_us = bench.now_us;
    bench.guard.leave('The main process is gone.');
    expect(bench.left).toBe(false);
    await bench.run(8, () => bench.left);
    expect(bench.left).toBe(true);
    expect(bench.lastDriven_us - asked_us).toBeLessThanOrEqual(5000);
    expect(bench.of('stopped')).toMatchObject([{ confirmed: true }]);
    expect(bench.trips).toEqual([]);
    expect(bench.core.getState()).toBe(STATE_SAFE);
    expect(bench.ports[0].open).toBe(false);
    expect(bench.said.at(-1)).toEqual({ type: 'leaving', why: 'The main process is gone.' });
    // Told in order: all rows first.
    expect(bench.said.findLastIndex((m) => m.type === 'block')).toBeLessThan(bench.said.length - 1);
  });

  test('a guard that is gone: the deadman of the board stops the motor after host_silence, not before', async () => {
    for (const silence_s of [0.1, 0.3]) {
      const bench = await new GuardBench({ limits: { host_silence_s: silence_s } }).start();
      await bench.run(1);
      bench.guardAlive = false;
      const died_us = bench.now_us;
      await bench.run(1);
      const ran_s = (bench.lastDriven_us - died_us) / 1e6;
      expect(ran_s).toBeLessThanOrEqual(silence_s + 0.005);
      expect(ran_s).toBeGreaterThan(silence_s - 0.035);
      expect(bench.core.getState()).toBe(STATE_TRIPPED);
    }
  });

  test('a guard that leaves while nothing turns goes at once', () => {
    const bench = new GuardBench();
    bench.guard.leave('The main process is done.');
    expect(bench.said).toEqual([{ type: 'leaving', why: 'The main process is done.' }]);
  });

  test('a board that never stands still is not waited for without end', async () => {
    const bench = await new GuardBench().start();
    await bench.run(0.5);
    bench.plant.bend = (s) => { s.current = 3; s.speed = 20_000; };
    bench.guard.leave('The main process is gone.');
    await bench.run(20, () => bench.left);
    expect(bench.left).toBe(true);
    expect(bench.of('stopped').every((e) => !e.confirmed)).toBe(true);
  });
});

describe('what is told', () => {
  test('while bytes are taken in nothing is told; the next tick tells all of it, in order', async () => {
    const bench = await new GuardBench().start();
    const port = bench.ports[0];
    const { listener } = port;
    const meanwhile: number[] = [];
    (port as { listener: Opened['listener'] }).listener = {
      ...listener,
      onBytes: (bytes) => {
        const said = bench.said.length;
        listener.onBytes(bytes);
        meanwhile.push(bench.said.length - said);
      },
    };
    bench.plant.bend = (s) => { s.voltage = 10; };
    await bench.run(1);
    expect(meanwhile.length).toBeGreaterThan(30);
    expect(meanwhile.every((n) => n === 0)).toBe(true);
    expect(bench.trips[0].code).toBe('VOLTAGE_HIGH');
    // Rows from before the trip come before it, and no row is told twice or lost.
    const ticks = bench.blocks.flatMap((b) => [...b.tick_us]);
    expect(ticks.every((t, i) => i === 0 || t > ticks[i - 1])).toBe(true);
    const at = bench.said.findIndex((m) => m.type === 'event' && m.event.type === 'tripped');
    const rows = bench.said.slice(0, at).flatMap((m) => (m.type === 'block' ? [...m.block.tick_us] : []));
    expect(rows.at(-1)).toBeGreaterThanOrEqual(bench.trips[0].tick_us - 1000);
  });

  test('an order that cannot be carried out stops the motor and is told', async () => {
    const bench = await new GuardBench().start();
    await bench.run(0.5);
    bench.guard.take({ type: 'feed', segments: null as never });
    const asked_us = bench.now_us;
    await bench.run(3);
    expect(bench.said.filter((m) => m.type === 'fault')).toHaveLength(1);
    expect(bench.lastDriven_us - asked_us).toBeLessThanOrEqual(5000);
    expect(bench.core.getState()).toBe(STATE_SAFE);
  });
});

describe('connecting', () => {
  const RESETS = [[0, 'a cause it does not know'], [1, 'power-on'], [2, 'its reset pin'], [3, 'its watchdog'], [4, 'its own software'], [5, 'a dip of its supply'], [9, 'cause 9']] as const;
  test.each(RESETS)('a board that last started by cause %i is told as "%s"', async (cause, words) => {
    const bench = new GuardBench();
    bench.powerOn(cause);
    expect((await bench.connect()).board).toMatchObject({ port: 'memory', uid: UID, reset: words });
  });

  const link = (board: number | null): Extract<RigLink, { kind: 'serial' }> => ({ kind: 'serial', port: 'memory', usb: null, board, simulated: true, baud: 921_600, silence_s: 0.05 });
  test('the board that the rig file names is taken, any other is refused by its number', async () => {
    expect((await new GuardBench({ rig: { link: link(UID) }, setup: { uid: UID } }).connect()).problem).toBeNull();
    const strange = new GuardBench({ rig: { link: link(78) }, setup: { uid: 78 } });
    const { code, problem } = await strange.connect();
    expect(code).toBe('FOREIGN_BOARD');
    expect(problem).toMatch(/Board 0x0000004d answered, the rig file names 0x0000004e\. Connect that board, or correct the rig file/);
    expect(strange.core.getState()).toBe(STATE_SAFE);
    expect((await strange.ask((id) => ({ type: 'arm', id }))).granted).toBe(false);
  });

  test('the board is not greeted into a running test', async () => {
    const bench = await new GuardBench().start();
    await bench.run(0.5);
    expect(await bench.connect()).toMatchObject({ code: 'TURNING' });
    expect(bench.ports).toHaveLength(1);
    expect(bench.core.getState()).toBe(STATE_DRIVING);
    expect(bench.trips).toEqual([]);
  });

  test('a plug that is pulled: lost within the stated silence, by the deadman at the board; nothing comes back by itself', async () => {
    const bench = await new GuardBench().start();
    await bench.run(1);
    const pulled_us = bench.now_us;
    bench.pull();
    await bench.run(10, () => bench.of('stopped').length > 0);
    expect(bench.said.some((m) => m.type === 'lost' && m.reason.includes('is lost'))).toBe(true);
    const told_us = bench.said.findIndex((m) => m.type === 'event' && m.event.type === 'tripped');
    expect(told_us).toBeGreaterThan(0);
    expect(bench.trips[0]).toMatchObject({ code: 'LINK_LOST', by: 'station' });
    expect(bench.trips[0].detail).toMatch(/^Nothing came from the board for (5[1-9]|60) ms/);
    expect(bench.of('stopped')).toMatchObject([{ confirmed: false }]);
    expect(bench.lastDriven_us - pulled_us).toBeLessThanOrEqual(105_000);
    // Plugged again: still one port, still no leave to drive.
    bench.plugged = true;
    await bench.run(2);
    expect(bench.ports).toHaveLength(1);
    expect(bench.state?.permit.granted).toBe(false);
    expect(bench.core.getState()).toBe(STATE_TRIPPED);
  });

  test('a reconnect is a new port and a fresh handshake; what was written before never reaches it', async () => {
    const bench = await new GuardBench().start();
    await bench.run(1);
    // Orders on their way when the plug goes: they die with the port.
    bench.guard.take({ type: 'feed', segments: [{ ordinal: 2, segment: level(0.9, 5), last: true }] });
    const old = bench.ports[0];
    expect(old.sent.length).toBeGreaterThan(0);
    bench.pull();
    await bench.run(10, () => bench.of('stopped').length > 0);
    const written = old.all.length;
    bench.plugged = true;
    expect((await bench.connect()).code).toBe('TRIPPED_BEFORE');
    expect(bench.ports).toHaveLength(2);
    expect(ids(bench.ports[1].all)[0]).toBe(CMD_HELLO);
    expect(ids(bench.ports[1].all)).not.toContain(CMD_SEGMENT);
    expect(old.all).toHaveLength(written);
    expect(old.open).toBe(false);
    // Late bytes of the old port are nobody's.
    const frames = bench.state?.health.frames;
    old.listener.onBytes(encodeFrame(commandPayload({ name: 'stop' }, 1)));
    await bench.run(0.05);
    expect(bench.said.filter((m) => m.type === 'fault')).toEqual([]);
    expect(bench.state?.health.frames).toBeGreaterThanOrEqual(frames ?? 0);
    // Only a deliberate act clears it, and only after standstill was measured; nothing starts then.
    await bench.run(5, () => bench.of('stopped').some((e) => e.confirmed));
    expect((await bench.clearTrip('looked at it')).granted).toBe(true);
    expect(bench.core.getState()).toBe(STATE_SAFE);
    const cleared_us = bench.now_us;
    await bench.run(1);
    expect(bench.lastDriven_us).toBeLessThan(cleared_us);
    await bench.connect();
    await bench.again([level(0.3, 0.2)]);
    await bench.run(5, () => bench.of('ended').length > 0);
    expect(bench.of('ended').at(-1)).toMatchObject({ how: 'complete' });
  });

  test('a port that is not there, a silent board and a stranger: each by its name; nothing is armed', async () => {
    const missing = new GuardBench();
    missing.plugged = false;
    expect(await missing.connect()).toMatchObject({ code: 'MISSING', problem: 'memory: there is no such port.' });
    const silent = new GuardBench();
    silent.boardAlive = false;
    expect((await silent.connect()).problem).toMatch(/the board is silent: no byte in 4 s/);
    const strange = new GuardBench();
    strange.fromBoard = () => new TextEncoder().encode('nothing of ours\r\n');
    expect((await strange.connect()).problem).toMatch(/this is no board of ours: \d+ bytes came in 4 s, none of them a frame/);
    const deaf = new GuardBench();
    let tick = 0;
    deaf.fromBoard = () => encodeFrame(rowPayload({ tick: (tick += 5000), sequence: tick / 5000 }));
    expect((await deaf.connect()).problem).toMatch(/sends frames \(\d+ whole, 0 damaged\) but does not answer/);
    for (const bench of [missing, silent, strange, deaf]) expect((await bench.ask((id) => ({ type: 'arm', id }))).granted).toBe(false);
  });

  test('a board that resets in the middle of a run: lost, and the next greeting tells why it started', async () => {
    const bench = await new GuardBench().start();
    await bench.run(1);
    bench.powerOn(5);
    await bench.run(10, () => bench.of('stopped').length > 0);
    expect(bench.trips[0].code).toBe('LINK_LOST');
    expect(bench.ports).toHaveLength(1);
    // The abort met it after its restart: it holds the trip until somebody clears it.
    const met = await bench.connect();
    expect(met.code).toBe('TRIPPED_BEFORE');
    expect(bench.ports).toHaveLength(2);
    // It has been running for longer than a stop may take; that is no reason to think that its motor still turns.
    await bench.run(3, () => bench.of('stopped').some((e) => e.confirmed));
    expect(bench.of('stopped').map((e) => e.confirmed)).toEqual([false, true]);
    expect((await bench.clearTrip('looked at it')).granted).toBe(true);
    const { board } = await bench.connect();
    expect(board?.reset).toBe('a dip of its supply');
    expect(bench.core.getState()).not.toBe(STATE_DRIVING);
  });
});
