// Samples of a run on their way into memory: as many as came, or, of a very long run, means over equal blocks of them.

/** Longest column: half an hour at 2 kHz. Eight of them take 270 MB; a longer run is averaged in blocks of 2, 4, 8 … samples. */
export const LONGEST_COLUMN = 4 * 1024 * 1024;

/** Room to begin with: a run of 16 s at 1 kHz. */
const FIRST_ROOM = 16 * 1024;

/** Where columns get their memory from. What an array holds at first is left from before. */
export interface ColumnMemory {
  array(length: number): Float64Array;
}

const FRESH: ColumnMemory = { array: (length) => new Float64Array(length) };

/** Longer arrays are not kept for the next run: 1 MB. */
const LONGEST_KEPT = 128 * 1024;

/** Memory that serves one run after the other: to ask the system for it, and to have it cleared, costs more than to fill it. */
export class ReusedMemory implements ColumnMemory {
  private readonly free = new Map<number, Float64Array[]>();
  private readonly given: Float64Array[] = [];

  array(length: number): Float64Array {
    const array = this.free.get(length)?.pop() ?? new Float64Array(length);
    if (length <= LONGEST_KEPT) this.given.push(array);
    return array;
  }

  /** Every array that was given out is free again: whoever still reads one will see the next run in it. */
  reuse(): void {
    for (const array of this.given) {
      const same = this.free.get(array.length);
      if (same === undefined) this.free.set(array.length, [array]); else same.push(array);
    }
    this.given.length = 0;
  }
}

/** A column of numbers that grows, and halves its resolution whenever it is full. */
export class NumberColumn {
  private data: Float64Array;
  private n = 0;
  private size = 1;
  private sum = 0;
  private pending = 0;

  /** @param longest most values held; an even number */
  constructor(private readonly longest: number, private readonly memory: ColumnMemory = FRESH) {
    this.data = memory.array(Math.min(longest, FIRST_ROOM));
  }

  /** Samples that make one value; 1 unless the column was ever full. */
  get block(): number {
    return this.size;
  }

  push(x: number): void {
    if (this.pending === 0 && this.n === this.data.length) this.makeRoom();
    this.sum += x;
    if (++this.pending < this.size) return;
    this.data[this.n++] = this.size === 1 ? x : this.sum / this.size;
    this.sum = 0;
    this.pending = 0;
  }

  /**
   * Room for `count` more samples, to be filled at once; null where samples are averaged or the column would be full, so that each has
   * to be pushed.
   */
  room(count: number): Float64Array | null {
    if (this.size > 1 || this.n + count > this.longest) return null;
    while (this.n + count > this.data.length) this.makeRoom();
    this.n += count;
    return this.data.subarray(this.n - count, this.n);
  }

  /** The values so far, as a view. An unfinished block at the end counts as one. Call it last. */
  values(): Float64Array {
    if (this.pending > 0) this.data[this.n++] = this.sum / this.pending;
    this.pending = 0;
    this.sum = 0;
    return this.data.subarray(0, this.n);
  }

  /** A column with the same samples. */
  copy(): NumberColumn {
    const other = new NumberColumn(this.longest, this.memory);
    if (other.data.length < this.data.length) other.data = this.memory.array(this.data.length);
    other.data.set(this.data.subarray(0, this.n));
    other.n = this.n;
    other.size = this.size;
    other.sum = this.sum;
    other.pending = this.pending;
    return other;
  }

  private makeRoom(): void {
    if (this.data.length < this.longest) {
      const wider = this.memory.array(Math.min(this.longest, this.data.length * 2));
      wider.set(this.data.subarray(0, this.n));
      this.data = wider;
      return;
    }
    this.n /= 2;
    for (let i = 0; i < this.n; i++) this.data[i] = (this.data[2 * i] + this.data[2 * i + 1]) / 2;
    this.size *= 2;
  }
}
