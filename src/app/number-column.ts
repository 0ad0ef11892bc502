// Samples of a run on their way into memory: as many as came, or, of a very long run, means over equal blocks of them.

/** Longest column: half an hour at 2 kHz. Eight of them take 270 MB; a longer run is averaged in blocks of 2, 4, 8 … samples. */
export const LONGEST_COLUMN = 4 * 1024 * 1024;

/** Room to begin with: a run of 16 s at 1 kHz. */
const FIRST_ROOM = 16 * 1024;

/** A column of numbers that grows, and halves its resolution whenever it is full. */
export class NumberColumn {
  private data: Float64Array;
  private n = 0;
  private size = 1;
  private sum = 0;
  private pending = 0;

  /** @param longest most values held; an even number */
  constructor(private readonly longest: number) {
    this.data = new Float64Array(Math.min(longest, FIRST_ROOM));
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
    const other = new NumberColumn(this.longest);
    other.data = this.data.slice();
    other.n = this.n;
    other.size = this.size;
    other.sum = this.sum;
    other.pending = this.pending;
    return other;
  }

  private makeRoom(): void {
    if (this.data.length < this.longest) {
      const wider = new Float64Array(Math.min(this.longest, this.data.length * 2));
      wider.set(this.data);
      this.data = wider;
      return;
    }
    this.n /= 2;
    for (let i = 0; i < this.n; i++) this.data[i] = (this.data[2 * i] + this.data[2 * i + 1]) / 2;
    this.size *= 2;
  }
}
