// From bytes to rows and messages: frames, sequence numbers, device time across wraps and restarts.
import { FrameDecoder } from '../link/codec';
import { SequenceGaps } from '../link/gaps';
import { decodeMessage, type BoardMessage } from '../link/messages';
import { RowBuffer, rowTick, sequenceOf } from '../link/rows';
import { TickUnwrapper } from '../link/ticks';
import { MSG_ROW } from '../wire/messages';

export interface IntakePorts {
  /** A row was appended to `rows`; it is the last one there. */
  readonly row: (tick_us: number) => void;
  /** A row that is not later than the one before was left out. */
  readonly late: (tick_us: number) => void;
  readonly message: (message: BoardMessage) => void;
}

export class Intake {
  readonly rows: RowBuffer;
  private readonly decoder: FrameDecoder;
  private readonly gaps = new SequenceGaps();
  private readonly ticks = new TickUnwrapper();
  private malformed = 0;
  private offset_us = 0;
  private resync = false;

  constructor(
    channels: number,
    private readonly tick_us: number,
    private readonly ports: IntakePorts,
  ) {
    this.rows = new RowBuffer(channels);
    this.decoder = new FrameDecoder((bytes, length) => this.frame(bytes, length));
  }

  get frames(): number {
    return this.decoder.frames;
  }

  /** Frames that were damaged, and frames that were whole but made no sense. */
  get bad(): number {
    return this.decoder.bad + this.malformed;
  }

  get missing(): number {
    return this.gaps.missing;
  }

  /** Frames that came twice; the second is dropped. */
  get doubled(): number {
    return this.gaps.duplicates;
  }

  push(bytes: Uint8Array): void {
    this.decoder.push(bytes);
  }

  /** The board may have restarted: its next row may count from zero again. */
  expectRestart(): void {
    this.resync = true;
  }

  /** Unwrapped device time of a tick in an event, which may lie a little before or after the latest row. */
  timeOf(tick: number): number {
    return this.ticks.peek(tick) + this.offset_us;
  }

  private frame(bytes: Uint8Array, length: number): void {
    if (length < 3) {
      this.malformed++;
      return;
    }
    const arrival = this.gaps.note(sequenceOf(bytes));
    if (arrival === 'duplicate') return;
    if (bytes[0] === MSG_ROW) {
      this.row(bytes, length);
      return;
    }
    const message = decodeMessage(bytes, length);
    if (message === null) this.malformed++;
    else this.ports.message(message);
  }

  private row(bytes: Uint8Array, length: number): void {
    const raw = rowTick(bytes);
    if (this.resync) this.followRestart(raw);
    const tick = this.ticks.advance(raw);
    if (tick < 0) this.ports.late(this.timeOf(raw));
    else if (this.rows.append(bytes, length, tick + this.offset_us)) this.ports.row(tick + this.offset_us);
    else this.malformed++;
  }

  /** First row after connecting: where the board counts from zero again, our time goes on rising. */
  private followRestart(raw: number): void {
    this.resync = false;
    if (this.ticks.latest_us < 0 || this.ticks.peek(raw) > this.ticks.latest_us) return;
    const latest_us = this.ticks.latest_us + this.offset_us;
    this.ticks.restart();
    this.gaps.restart();
    this.offset_us = latest_us + this.tick_us - raw;
  }
}
