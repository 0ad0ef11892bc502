// The I2C bus of the emulated board. Every byte costs nine clocks of the bus, so that reading sensors takes the time it takes.
import type { AVRTWI, TWIEventHandler } from 'avr8js';

/** A part on the bus. */
export interface I2cPart {
  /** It is addressed; `writing` when the board is about to write. */
  start(writing: boolean): void;
  write(byte: number): void;
  read(): number;
}

const F_CPU = 16_000_000;
const CLOCKS_PER_BYTE = 9;

export class I2cBus implements TWIEventHandler {
  readonly parts = new Map<number, I2cPart>();
  /** Somebody holds a line low: nothing on the bus is ever completed. */
  stuck = false;
  private current: I2cPart | null = null;

  constructor(private readonly twi: AVRTWI, private readonly after: (cycles: number, then: () => void) => void) {}

  start(): void {
    this.later(1, () => this.twi.completeStart());
  }

  stop(): void {
    this.current = null;
    if (!this.stuck) this.twi.completeStop();
  }

  connectToSlave(address: number, writing: boolean): void {
    this.current = this.parts.get(address) ?? null;
    this.current?.start(writing);
    const there = this.current !== null;
    this.later(CLOCKS_PER_BYTE, () => this.twi.completeConnect(there));
  }

  writeByte(value: number): void {
    this.current?.write(value);
    const there = this.current !== null;
    this.later(CLOCKS_PER_BYTE, () => this.twi.completeWrite(there));
  }

  readByte(): void {
    const value = this.current?.read() ?? 0xff;
    this.later(CLOCKS_PER_BYTE, () => this.twi.completeRead(value));
  }

  private later(clocks: number, then: () => void): void {
    if (this.stuck) return;
    this.after(Math.round((clocks * F_CPU) / this.twi.sclFrequency), then);
  }
}
