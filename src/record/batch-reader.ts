// Reads batches one after the other into the same memory: what a reader that goes through millions of rows needs.
import { FIELD, type RateGroup } from './layout';
import { scanFields } from './protobuf';

/** Rows of one batch. The arrays may be longer than `rows`, and are overwritten by the next batch of the group: copy what is kept. */
export interface BatchColumns {
  readonly rows: number;
  /** Device time, microseconds, unwrapped. */
  readonly tick_us: Float64Array;
  /** Null outside the rows group. */
  readonly throttle: ArrayLike<number> | null;
  readonly fresh: Uint8Array;
  readonly valid: Uint8Array;
  /** Raw counts, in the order of the group's channels. */
  readonly counts: readonly Int32Array[];
}

/** Reads the batches of one group. Needs little-endian memory, as writing does. */
export class BatchReader implements BatchColumns {
  rows = 0;
  tick_us = new Float64Array(0);
  throttle: Uint32Array | null = null;
  fresh = new Uint8Array(0);
  valid = new Uint8Array(0);
  counts: Int32Array[];
  private step = new Int32Array(0);
  private first_us = 0;
  private readonly found = new Map<number, Uint8Array>();
  private readonly visit = (field: number, value: number | Uint8Array): void => {
    if (typeof value !== 'number') this.found.set(field, value);
    else if (field === FIELD.first_tick_us) this.first_us = value;
  };

  constructor(private readonly group: RateGroup) {
    this.counts = group.channels.map(() => new Int32Array(0));
  }

  /** Takes the next batch. Throws RangeError when columns are missing or differ in length. */
  read(message: Uint8Array): void {
    const { found, group } = this;
    found.clear();
    this.first_us = 0;
    scanFields(message, this.visit);
    this.rows = (found.get(FIELD.step_us)?.length ?? 0) / 4;
    this.grow();
    this.wide(FIELD.step_us, this.step);
    if (this.throttle !== null) this.wide(FIELD.throttle, this.throttle);
    this.fresh.set(this.bytesOf(FIELD.fresh, 1));
    this.valid.set(this.bytesOf(FIELD.valid, 1));
    for (let i = 0; i < group.channels.length; i++) this.wide(FIELD.COUNTS + group.channels[i].id, this.counts[i]);
    let tick = this.first_us;
    for (let i = 0; i < this.rows; i++) this.tick_us[i] = tick += this.step[i];
  }

  private wide(field: number, into: Int32Array | Uint32Array): void {
    new Uint8Array(into.buffer).set(this.bytesOf(field, 4));
  }

  private bytesOf(field: number, width: number): Uint8Array {
    const bytes = this.found.get(field);
    if (bytes?.length !== this.rows * width) {
      throw new RangeError(`${this.group.topic}: field ${field} of a batch has ${bytes?.length ?? 0} bytes, its ${this.rows} rows need ${this.rows * width}`);
    }
    return bytes;
  }

  private grow(): void {
    if (this.rows <= this.tick_us.length) return;
    const capacity = Math.max(256, 2 * Math.ceil(this.rows));
    this.tick_us = new Float64Array(capacity);
    this.step = new Int32Array(capacity);
    this.throttle = this.group.is_rows ? new Uint32Array(capacity) : null;
    this.fresh = new Uint8Array(capacity);
    this.valid = new Uint8Array(capacity);
    this.counts = this.counts.map(() => new Int32Array(capacity));
  }
}
