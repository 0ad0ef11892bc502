// Goal: what goes to a Firmata board is Firmata, and nothing moves before the pulse of stop is sure.
// Method: a port in memory that records bytes, with a board that answers as the protocol says (firmata/protocol 2.5.1, protocol.md).
import { describe, expect, test } from 'vitest';
import type { BoardListener, BoardPort } from '../../src/host/board-port';
import { openFirmata } from '../../src/host/firmata/firmata-io';
import { I2c } from '../../src/host/firmata/i2c';
import { StopInput } from '../../src/host/firmata/stop-input';
import { ThrottleOutput } from '../../src/host/firmata/throttle-output';
import type { BoardTime } from '../../src/host/firmata/time';

const THROTTLE = { signal: 'servo-pulse', stop_pulse_us: 1000, full_pulse_us: 2000, idle: 0.04, bump: 0.1, boot_wait_s: 0 } as const;
const hex = (bytes: readonly number[]): string => bytes.map((b) => b.toString(16).padStart(2, '0')).join(' ');

/** A board of 20 pins: digital pins give servo pulses, the last six are analogue inputs. */
class FakeBoard {
  writes: string[] = [];
  listener: BoardListener | null = null;
  /** State of pin 9 as the board tells it. */
  held_us = 1000;
  private now = 0;
  private timers: { every: number; due: number; then: () => void }[] = [];

  readonly time: BoardTime = {
    now_us: () => this.now,
    every: (ms, then) => {
      const timer = { every: ms * 1000, due: this.now + ms * 1000, then };
      this.timers.push(timer);
      return () => { this.timers = this.timers.filter((t) => t !== timer); };
    },
  };

  readonly open = (listener: BoardListener): Promise<BoardPort> => {
    this.listener = listener;
    return Promise.resolve({ name: 'fake', send: (bytes: Uint8Array) => this.take([...bytes]), close: () => Promise.resolve() });
  };

  say(...bytes: number[]): void {
    this.listener?.onBytes(Uint8Array.from(bytes));
  }

  async settle<T>(promise: Promise<T>): Promise<T> {
    let over = false;
    const end = (): void => { over = true; };
    promise.then(end, end);
    for (let i = 0; i < 20_000 && !over; i++) {
      await Promise.resolve();
      this.now += 1000;
      for (const t of [...this.timers]) if (this.now >= t.due) { t.due += t.every; t.then(); }
    }
    return await promise;
  }

  private take(bytes: number[]): void {
    this.writes.push(hex(bytes));
    const [, command] = bytes;
    if (bytes[0] === 0xf9) this.say(0xf9, 2, 5);
    else if (command === 0x79) this.say(0xf0, 0x79, 2, 5, 0x53, 0, 0xf7);
    else if (command === 0x6b) this.say(0xf0, 0x6c, ...Array.from({ length: 20 }, (_, pin) => (pin < 14 ? [0, 1, 1, 1, 4, 14, 0x7f] : [0, 1, 2, 10, 0x7f])).flat(), 0xf7);
    else if (command === 0x69) this.say(0xf0, 0x6a, ...Array.from({ length: 20 }, (_, pin) => (pin < 14 ? 127 : pin - 14)), 0xf7);
    else if (command === 0x6d) this.say(0xf0, 0x6e, bytes[2], 4, this.held_us & 0x7f, this.held_us >> 7, 0xf7);
  }
}

async function greeted(): Promise<{ board: FakeBoard; link: Awaited<ReturnType<typeof openFirmata>> }> {
  const board = new FakeBoard();
  const link = await board.settle(openFirmata(board.open, board.time, () => undefined));
  board.writes = [];
  return { board, link };
}

describe('throttle', () => {
  test('pin 9 = 1500 µs is E9 5C 0B; attaching is F0 70, and the pulse of stop follows before anything else', async () => {
    const { board, link } = await greeted();
    const output = await board.settle(ThrottleOutput.attach(link, 9, THROTTLE, board.time));
    expect(board.writes[0]).toBe('f0 70 09 68 07 50 0f f7');
    expect(board.writes[1]).toBe('e9 68 07');
    board.writes = [];
    output.write(5000);
    expect(board.writes).toEqual(['e9 5c 0b']);
  });

  test('a board that says that it holds half throttle is refused before a sensor is set up', async () => {
    const { board, link } = await greeted();
    board.held_us = 1500;
    await expect(board.settle(ThrottleOutput.attach(link, 9, THROTTLE, board.time))).rejects.toThrow(/does not hold the pulse of stop, 1000 µs \(it says 1500 in mode 4\)\. Cut the power/);
  });

  test('the same throttle is told again after 50 ms, not before', async () => {
    const { board, link } = await greeted();
    const output = await board.settle(ThrottleOutput.attach(link, 9, THROTTLE, board.time));
    output.write(100);
    board.writes = [];
    output.write(100);
    expect(board.writes).toEqual([]);
    await board.settle(new Promise<void>((resolve) => { const stop = board.time.every(50, () => { stop(); resolve(); }); }));
    output.write(100);
    expect(board.writes).toEqual(['e9 72 07']);
  });
});

describe('greeting and stop input', () => {
  test('a greeting asks for version F9, firmware F0 79, capabilities F0 6B and analogue pins F0 69', async () => {
    const board = new FakeBoard();
    await board.settle(openFirmata(board.open, board.time, () => undefined));
    for (const asked of ['f9', 'f0 79 f7', 'f0 6b f7', 'f0 69 f7']) expect(board.writes, board.writes.join(' | ')).toContain(asked);
  });

  test('pin 8 is bit 0 of port 1: F4 08 00 makes it an input, D1 01 asks for its port, 91 7F 01 is all high and 91 00 00 all low', async () => {
    const { board, link } = await greeted();
    const pressed: boolean[] = [];
    const starting = StopInput.start(link, { pin: 8, active: 'high' }, board.time, (p) => pressed.push(p));
    board.say(0x91, 0x7f, 0x01);
    await board.settle(starting);
    expect(board.writes).toContain('f4 08 00');
    expect(board.writes).toContain('d1 01');
    expect(pressed.at(-1)).toBe(true);
    board.say(0x91, 0x00, 0x00);
    expect(pressed.at(-1)).toBe(false);
    // Every other pin of the port high, this one low.
    board.say(0x91, 0x7e, 0x01);
    expect(pressed.at(-1)).toBe(false);
  });

  test('an analogue input is told as E0 | input with 7 bits in each byte: E2 7F 07 is 1023', async () => {
    const { board, link } = await greeted();
    const got: number[] = [];
    link.io.analogRead(2, (value) => got.push(value));
    expect(board.writes).toContain('c2 01');
    board.say(0xe2, 0x7f, 0x07);
    board.say(0xe2, 0x00, 0x04);
    expect(got).toEqual([1023, 512]);
  });
});

describe('I2C', () => {
  test('reading a register is F0 76, its bytes in halves of 7 bits', async () => {
    const { board, link } = await greeted();
    const i2c = new I2c(link.io, board.time);
    board.writes = [];
    const reading = i2c.read(0x40, 0xfe, 2);
    expect(board.writes).toEqual(['f0 76 40 08 7e 01 02 00 f7']);
    board.say(0xf0, 0x77, 0x40, 0, 0x7e, 1, 0x54, 0, 0x49, 0, 0xf7);
    expect(await board.settle(reading)).toEqual([0x54, 0x49]);
  });

  test('the reply after a complaint is not a reading, the one after it is', async () => {
    const { board, link } = await greeted();
    const i2c = new I2c(link.io, board.time);
    const got: (readonly number[] | null)[] = [];
    i2c.readAlways(0x40, 1, 2, (reply) => got.push(reply));
    const reply = [0xf0, 0x77, 0x40, 0, 1, 0, 0x12, 0, 0x34, 0, 0xf7];
    board.say(0xf0, 0x71, ...[...'I2C: Too few bytes received'].flatMap((c) => [c.charCodeAt(0), 0]), 0xf7);
    board.say(...reply);
    board.say(...reply);
    expect(got).toEqual([null, [0x12, 0x34]]);
  });

  test('a reply that is too short is not a reading', async () => {
    const { board, link } = await greeted();
    const i2c = new I2c(link.io, board.time);
    const got: (readonly number[] | null)[] = [];
    i2c.readAlways(0x40, 1, 2, (reply) => got.push(reply));
    board.say(0xf0, 0x77, 0x40, 0, 1, 0, 0x12, 0, 0xf7);
    expect(got).toEqual([null]);
  });
});

test('the sampling interval of 100 ms is F0 7A 64 00 F7, and below 10 ms it stays at 10', async () => {
  const { board, link } = await greeted();
  link.io.setSamplingInterval(100);
  link.io.setSamplingInterval(5);
  expect(board.writes).toEqual(['f0 7a 64 00 f7', 'f0 7a 0a 00 f7']);
});
