// One batch of a rate group: collected row by row, written as protobuf columns, read back into typed arrays.
import { FIELD, type RateGroup } from './layout';
import type { SampleBlock } from '../model/sample';
import { ProtoWriter, scanFields } from './protobuf';

if (new Uint8Array(new Uint16Array([1]).buffer)[0] !== 1) {
  throw new Error('records are written from little-endian memory; this machine is big-endian, which is not supported');
}

/** Rows of one group as they stand in the record. `throttle`, `state` and `ordinal` are null outside the rows group. */
export interface GroupBatch {
  readonly rows: number;
  /** Device time, microseconds, unwrapped. */
  readonly tick_us: Float64Array;
  readonly throttle: Uint16Array | null;
  readonly state: Uint8Array | null;
  readonly ordinal: Uint16Array | null;
  readonly fresh: Uint8Array;
  readonly valid: Uint8Array;
  /** Raw counts, in the order of the group's channels. */
  readonly counts: readonly Int32Array[];
}

/** Collects rows of one group until they are written. Copies what it is given. */
export class BatchCollector {
  #rows = 0;
  #capacity = 0;
  #first_us = 0;
  #last_us = 0;
  #step = new Int32Array(0);
  #throttle = new Uint32Array(0);
  #state = new Uint8Array(0);
  #ordinal = new Uint32Array(0);
  #fresh = new Uint8Array(0);
  #valid = new Uint8Array(0);
  #counts: Int32Array[];
  readonly #out = new ProtoWriter();

  constructor(readonly group: RateGroup) {
    this.#counts = group.channels.map(() => new Int32Array(0));
    this.#grow(256);
  }

  get rows(): number {
    return this.#rows;
  }
  get first_us(): number {
    return this.#first_us;
  }
  get last_us(): number {
    return this.#last_us;
  }

  /** Takes rows [from, to) of a block. Returns the row at which it stopped: a jump in time too wide for one batch, else `to`. */
  append(block: SampleBlock, from: number, to: number): number {
    this.#grow(this.#rows + (to - from));
    const { tick_us } = block;
    const at = this.#rows;
    let row = from;
    let last = this.#last_us;
    if (at === 0 && row < to) {
      this.#first_us = last = tick_us[row];
      this.#step[0] = 0;
      row++;
    }
    const steps = this.#step;
    for (; row < to; row++) {
      const step = tick_us[row] - last;
      if (step !== (step | 0)) break;
      steps[at + row - from] = step;
      last = tick_us[row];
    }
    this.#last_us = last;
    const n = row - from;
    this.#rows = at + n;
    if (this.group.is_rows) {
      this.#throttle.set(block.throttle.subarray(from, row), at);
      this.#state.set(block.state.subarray(from, row), at);
      this.#ordinal.set(block.ordinal.subarray(from, row), at);
    }
    this.#fresh.set(block.fresh.subarray(from, row), at);
    this.#valid.set(block.valid.subarray(from, row), at);
    this.group.channels.forEach((c, i) => {
      this.#counts[i].set(block.counts[c.id].subarray(from, row), at);
    });
    return row;
  }

  /** {@link append} of one row, for the groups beside the rows group, which keep few: written, not copied. False when the jump in time is too wide. */
  add(block: SampleBlock, row: number): boolean {
    const at = this.#rows;
    this.#grow(at + 1);
    const tick_us = block.tick_us[row];
    if (at === 0) this.#first_us = this.#last_us = tick_us;
    const step = tick_us - this.#last_us;
    if (step !== (step | 0)) return false;
    this.#step[at] = step;
    this.#fresh[at] = block.fresh[row];
    this.#valid[at] = block.valid[row];
    const { channels } = this.group;
    for (let i = 0; i < channels.length; i++) this.#counts[i][at] = block.counts[channels[i].id][row];
    this.#last_us = tick_us;
    this.#rows = at + 1;
    return true;
  }

  /** The batch as a protobuf message, valid until the next call; the collector is empty afterwards. */
  take(): Uint8Array {
    const w = this.#out;
    const n = this.#rows;
    w.reset();
    w.fixed64Field(FIELD.first_tick_us, this.#first_us);
    w.packedField(FIELD.step_us, this.#step, n);
    if (this.group.is_rows) {
      w.packedField(FIELD.throttle, this.#throttle, n);
      w.bytesField(FIELD.state, this.#state.subarray(0, n));
      w.packedField(FIELD.ordinal, this.#ordinal, n);
    }
    w.bytesField(FIELD.fresh, this.#fresh.subarray(0, n));
    w.bytesField(FIELD.valid, this.#valid.subarray(0, n));
    this.group.channels.forEach((c, i) => {
      w.packedField(FIELD.COUNTS + c.id, this.#counts[i], n);
    });
    this.clear();
    return w.written();
  }

  clear(): void {
    this.#rows = 0;
  }

  #grow(rows: number): void {
    if (rows <= this.#capacity) return;
    const capacity = Math.max(rows, this.#capacity * 2);
    const wider = <T extends Int32Array | Uint32Array | Uint8Array>(old: T, next: T): T => {
      next.set(old);
      return next;
    };
    this.#step = wider(this.#step, new Int32Array(capacity));
    if (this.group.is_rows) {
      this.#throttle = wider(this.#throttle, new Uint32Array(capacity));
      this.#state = wider(this.#state, new Uint8Array(capacity));
      this.#ordinal = wider(this.#ordinal, new Uint32Array(capacity));
    }
    this.#fresh = wider(this.#fresh, new Uint8Array(capacity));
    this.#valid = wider(this.#valid, new Uint8Array(capacity));
    this.#counts = this.#counts.map((c) => wider(c, new Int32Array(capacity)));
    this.#capacity = capacity;
  }
}

/** Reads a batch. Throws RangeError when columns are missing or differ in length. */
export function decodeBatch(group: RateGroup, message: Uint8Array): GroupBatch {
  let first_us = 0;
  const column = new Map<number, Uint8Array>();
  scanFields(message, (field, value) => {
    if (typeof value === 'number') {
      if (field === FIELD.first_tick_us) first_us = value;
    } else column.set(field, value);
  });
  const rows = (column.get(FIELD.step_us)?.length ?? 0) / 4;
  const take = (field: number, width: number): Uint8Array => {
    const bytes = column.get(field);
    if (bytes?.length !== rows * width) {
      throw new RangeError(`${group.topic}: field ${field} of a batch has ${bytes?.length ?? 0} bytes, its ${rows} rows need ${rows * width}`);
    }
    return new Uint8Array(bytes);
  };
  const wide = (field: number): ArrayBuffer => take(field, 4).buffer as ArrayBuffer;
  const step = new Int32Array(wide(FIELD.step_us));
  const tick_us = new Float64Array(rows);
  let tick = first_us;
  for (let i = 0; i < rows; i++) tick_us[i] = tick += step[i];
  return {
    rows,
    tick_us,
    throttle: group.is_rows ? new Uint16Array(new Uint32Array(wide(FIELD.throttle))) : null,
    state: group.is_rows ? take(FIELD.state, 1) : null,
    ordinal: group.is_rows ? new Uint16Array(new Uint32Array(wide(FIELD.ordinal))) : null,
    fresh: take(FIELD.fresh, 1),
    valid: take(FIELD.valid, 1),
    counts: group.channels.map((c) => new Int32Array(wide(FIELD.COUNTS + c.id))),
  };
}
