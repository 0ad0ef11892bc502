// The emulated board, the sensors, the speed controller, the simulated drive and the program under test in one virtual time,
// stepped by the millisecond. Nothing here looks at a real clock.
import type { BoardListener, BoardPort, OpenBoard } from '../../src/host/board-port';
import type { BoardTime } from '../../src/host/firmata/time';
import { EmulatedUno, type Pulse } from './uno';

const STEP_US = 1000;

export class Lockstep {
  readonly uno: EmulatedUno;
  /** Pulses since the last call of `clear`. */
  pulses: Pulse[] = [];
  /** Bytes from the board and to it, where a test wants to see them. */
  sent: number[] = [];
  /** Called after each millisecond of board time, before the program sees the bytes. */
  onStep: () => void = () => undefined;
  onPulse: (pulse: Pulse) => void = () => undefined;
  /** The program does not run: its process is stopped. Bytes wait. */
  programStopped = false;
  private readonly timers = new Set<{ readonly every_us: number; due_us: number; readonly then: () => void }>();
  private fromBoard: number[] = [];
  private listener: BoardListener | null = null;

  constructor(flash: Uint16Array) {
    this.uno = new EmulatedUno(flash);
    this.uno.onByte = (byte) => { this.fromBoard.push(byte); };
    this.uno.onPulse = (pulse) => {
      this.pulses.push(pulse);
      this.onPulse(pulse);
    };
  }

  get now_us(): number {
    return this.now;
  }

  private now = 0;

  readonly time: BoardTime = {
    now_us: () => this.now,
    every: (ms, then) => {
      const timer = { every_us: ms * 1000, due_us: this.now + ms * 1000, then };
      this.timers.add(timer);
      return () => this.timers.delete(timer);
    },
  };

  /** The board's serial line as a port. */
  readonly openPort: OpenBoard = (listener) => {
    this.listener = listener;
    const port: BoardPort = {
      name: 'emulated board',
      send: (bytes) => {
        if (this.listener !== listener) return;
        this.sent.push(...bytes);
        this.uno.send(bytes);
      },
      close: () => {
        if (this.listener === listener) this.listener = null;
        return Promise.resolve();
      },
    };
    return Promise.resolve(port);
  };

  /** The plug is pulled: the port says so at once, as Linux does. */
  unplug(): void {
    const { listener } = this;
    this.listener = null;
    listener?.onLost('The port emulated board is lost: it is gone (EIO).');
  }

  /** The cable is cut so that the port does not notice. */
  deafen(): void {
    this.listener = null;
  }

  /** Bytes that come from the line although no board sent them. */
  garble(bytes: readonly number[]): void {
    this.fromBoard.push(...bytes);
  }

  step(): void {
    this.uno.advance(STEP_US);
    this.now += STEP_US;
    this.onStep();
    if (this.programStopped) return;
    const bytes = this.fromBoard;
    this.fromBoard = [];
    if (bytes.length > 0) this.listener?.onBytes(Uint8Array.from(bytes));
    for (const timer of [...this.timers]) {
      if (!this.timers.has(timer) || this.now < timer.due_us) continue;
      timer.due_us += timer.every_us;
      timer.then();
    }
  }

  /** Time goes on by so much. */
  run(ms: number): void {
    for (let i = 0; i < ms; i++) this.step();
  }

  /** Time goes on until a promise of the program is settled. */
  async settle<T>(promise: Promise<T>, within_ms = 20_000): Promise<T> {
    const seen: { settled: boolean } = { settled: false };
    const mark = (): void => { seen.settled = true; };
    promise.then(mark, mark);
    for (let i = 0; i < within_ms && !seen.settled; i++) {
      this.step();
      // The program's own continuations run between two steps.
      await Promise.resolve().then(() => undefined).then(() => undefined);
      if (i % 4 === 3) await new Promise((resolve) => setImmediate(resolve));
    }
    if (!seen.settled) throw new Error(`nothing came of it within ${within_ms} ms of board time`);
    return await promise;
  }

  clear(): void {
    this.pulses = [];
    this.sent = [];
  }
}
