// The I2C bus of a Firmata board. When a part does not answer, the firmware says so in a text and then sends a reply anyway, with
// bytes left over from another part: that reply must never be taken for a measurement.
import type { Firmata } from 'firmata-io';
import { waitFor, type BoardTime } from './time';

const ANSWER_WITHIN_MS = 500;

/** Bytes of a reply; null when the part did not answer or the reply is not whole. */
export type I2cReply = readonly number[] | null;

export class I2c {
  /** The firmware has complained; the reply that follows is the one it complained about. */
  private complained = false;

  constructor(private readonly io: Firmata, private readonly time: BoardTime) {
    io.on('string', (text: string) => {
      if (text.includes('I2C')) this.complained = true;
    });
    io.i2cConfig({ delay: 0 });
  }

  write(address: number, register: number, bytes: readonly number[]): void {
    this.io.i2cWrite(address, register, bytes);
  }

  /** Reads once; null after half a second without an answer, too. */
  async read(address: number, register: number, bytes: number): Promise<I2cReply> {
    let reply: I2cReply | undefined;
    this.io.i2cReadOnce(address, register, bytes, (data) => { reply = this.checked(data, bytes); });
    await waitFor(this.time, ANSWER_WITHIN_MS, () => reply !== undefined);
    return reply ?? null;
  }

  /** Has the firmware read the register with every sample that it takes. */
  readAlways(address: number, register: number, bytes: number, take: (reply: I2cReply) => void): void {
    this.io.i2cRead(address, register, bytes, (data) => take(this.checked(data, bytes)));
  }

  private checked(data: readonly number[], bytes: number): I2cReply {
    const bad = this.complained || data.length !== bytes || data.some((byte) => byte > 255);
    this.complained = false;
    return bad ? null : data;
  }
}
