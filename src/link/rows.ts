// Telemetry rows straight from payloads into growing columns: no object a row.
import { CHANNELS_MAX } from '../wire/messages';
import * as L from '../wire/layout';
import type { SampleBlock } from '../model/sample';

// Copies of their own: an imported name is looked up again at each use unless the program is bundled, which costs more
// than the rest of a row together.
const { ROW_TICK, ROW_THROTTLE, ROW_STATE, ROW_CAUSE, ROW_ORDINAL, ROW_FRESH, ROW_VALID, ROW_VALUES } = L;

const BITS = new Uint8Array(256);
for (let i = 1; i < 256; i++) BITS[i] = BITS[i >> 1] + (i & 1);

/** The u16 sequence number of a board payload. */
export function sequenceOf(payload: Uint8Array): number {
  return payload[1] | (payload[2] << 8);
}

/** The u32 tick of a row payload, not unwrapped. */
export function rowTick(payload: Uint8Array): number {
  return (payload[ROW_TICK] | (payload[ROW_TICK + 1] << 8) | (payload[ROW_TICK + 2] << 16) | (payload[ROW_TICK + 3] << 24)) >>> 0;
}

/** Rows being gathered, readable as a block while they are: the judge looks at each row before anybody else does. */
export class RowBuffer implements SampleBlock {
  rows = 0;
  tick_us: Float64Array;
  throttle: Uint16Array;
  state: Uint8Array;
  ordinal: Uint16Array;
  fresh: Uint8Array;
  valid: Uint8Array;
  /** Views of `flat`, a channel each. */
  counts: readonly Int32Array[] = [];
  /** Segments waiting on the board (15 = 15 or more) and trip code, both as of the last row. */
  queued = 0;
  cause = 0;

  private capacity: number;
  /** Counts of all channels, one channel after the other. */
  private flat: Int32Array;
  private readonly latest: Int32Array;
  private readonly undeclared: number;

  /** `channels`: how many the board declared, 0..8. */
  constructor(channels: number, capacity = 128) {
    if (channels > CHANNELS_MAX) throw new RangeError(`${channels} channels; the wire carries at most ${CHANNELS_MAX}`);
    this.capacity = capacity;
    this.tick_us = new Float64Array(capacity);
    this.throttle = new Uint16Array(capacity);
    this.state = new Uint8Array(capacity);
    this.ordinal = new Uint16Array(capacity);
    this.fresh = new Uint8Array(capacity);
    this.valid = new Uint8Array(capacity);
    this.latest = new Int32Array(channels);
    this.flat = new Int32Array(channels * capacity);
    this.counts = this.views();
    this.undeclared = 0xff & ~((1 << channels) - 1);
  }

  /**
   * Appends a row payload under its unwrapped tick. Returns false, and appends nothing, when the length does not fit the
   * fresh mask or the mask names a channel that was never declared.
   */
  append(payload: Uint8Array, length: number, tick_us: number): boolean {
    if (length < ROW_VALUES) return false;
    const fresh = payload[ROW_FRESH];
    if (length !== ROW_VALUES + 4 * BITS[fresh] || (fresh & this.undeclared) !== 0) return false;
    if (this.rows === this.capacity) this.grow();
    const row = this.rows;
    const status = payload[ROW_STATE];
    this.tick_us[row] = tick_us;
    this.throttle[row] = payload[ROW_THROTTLE] | (payload[ROW_THROTTLE + 1] << 8);
    this.state[row] = status & 0xf;
    this.queued = status >> 4;
    this.cause = payload[ROW_CAUSE]!;
    this.ordinal[row] = payload[ROW_ORDINAL] | (payload[ROW_ORDINAL + 1] << 8);
    this.fresh[row] = fresh;
    this.valid[row] = payload[ROW_VALID] & ~this.undeclared;
    const { latest, flat, capacity } = this;
    let at = ROW_VALUES;
    for (let c = 0, place = row; c < latest.length; c++, place += capacity) {
      if ((fresh & (1 << c)) !== 0) {
        latest[c] = payload[at] | (payload[at + 1] << 8) | (payload[at + 2] << 16) | (payload[at + 3] << 24);
        at += 4;
      }
      flat[place] = latest[c];
    }
    this.rows = row + 1;
    return true;
  }

  /** Hands the gathered rows over, in columns of their own, and starts afresh. Held counts are kept. */
  take(): SampleBlock {
    const { rows } = this;
    this.rows = 0;
    // One piece of memory for all columns, wide ones first: a dozen small ones cost more than what is copied into them.
    const channels = this.counts.length;
    const bytes = new ArrayBuffer(rows * (8 + 4 * channels + 2 + 2 + 1 + 1 + 1));
    const small = rows * (8 + 4 * channels);
    return {
      rows,
      tick_us: filled(new Float64Array(bytes, 0, rows), this.tick_us),
      throttle: filled(new Uint16Array(bytes, small, rows), this.throttle),
      state: filled(new Uint8Array(bytes, small + 4 * rows, rows), this.state),
      ordinal: filled(new Uint16Array(bytes, small + 2 * rows, rows), this.ordinal),
      fresh: filled(new Uint8Array(bytes, small + 5 * rows, rows), this.fresh),
      valid: filled(new Uint8Array(bytes, small + 6 * rows, rows), this.valid),
      counts: this.counts.map((column, c) => filled(new Int32Array(bytes, rows * (8 + 4 * c), rows), column)),
    };
  }

  private grow(): void {
    this.capacity *= 2;
    this.tick_us = widened(this.tick_us, new Float64Array(this.capacity));
    this.throttle = widened(this.throttle, new Uint16Array(this.capacity));
    this.state = widened(this.state, new Uint8Array(this.capacity));
    this.ordinal = widened(this.ordinal, new Uint16Array(this.capacity));
    this.fresh = widened(this.fresh, new Uint8Array(this.capacity));
    this.valid = widened(this.valid, new Uint8Array(this.capacity));
    const old = this.counts;
    this.flat = new Int32Array(this.latest.length * this.capacity);
    this.counts = this.views();
    old.forEach((column, c) => { this.counts[c].set(column); });
  }

  private views(): Int32Array[] {
    return Array.from(this.latest, (_, c) => this.flat.subarray(c * this.capacity, (c + 1) * this.capacity));
  }
}

/** Fills a column with as much of another as it holds. */
function filled<T extends Float64Array | Int32Array | Uint16Array | Uint8Array>(column: T, from: T): T {
  column.set(from.length === column.length ? from : from.subarray(0, column.length));
  return column;
}

function widened<T extends { set(from: ArrayLike<number>): void }>(old: ArrayLike<number>, wide: T): T {
  wide.set(old);
  return wide;
}
