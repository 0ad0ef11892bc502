/**
 * The campaign's only source of chance: PCG32 (XSH-RR 64/32) after M. E. O'Neill, "PCG: A Family of Simple Fast
 * Space-Efficient Statistically Good Algorithms for Random Number Generation", Harvey Mudd College HMC-CS-2014-0905.
 * Same seed and stream, same order of runs, on every machine.
 */

const MULTIPLIER_HIGH = 0x5851f42d;
const MULTIPLIER_LOW = 0x4c957f2d;
const TWO_32 = 4294967296;

/** A seeded generator of 32-bit integers. */
export class Pcg32 {
  private high = 0;
  private low = 0;
  private readonly stepHigh: number;
  private readonly stepLow: number;

  /**
   * @param seed whole number from 0 to 2^53 − 1.
   * @param stream separates independent uses of one seed, same range.
   * @throws RangeError for anything else.
   */
  constructor(seed: number, stream = 0) {
    wholeNumber('seed', seed);
    wholeNumber('stream', stream);
    // Increment of the underlying sequence: 2·stream + 1.
    this.stepHigh = (Math.floor(stream / TWO_32) * 2 + Math.floor((stream % TWO_32) / 2147483648)) | 0;
    this.stepLow = ((stream << 1) | 1) >>> 0;
    this.advance();
    const low = this.low + (seed % TWO_32);
    this.high = (this.high + Math.floor(seed / TWO_32) + (low >= TWO_32 ? 1 : 0)) | 0;
    this.low = low >>> 0;
    this.advance();
  }

  /** Next integer, uniform over 0 … 2^32 − 1. */
  next(): number {
    const high = this.high;
    const low = this.low;
    this.advance();
    const mixedLow = low ^ ((low >>> 18) | (high << 14));
    const mixedHigh = high ^ (high >>> 18);
    const word = (mixedLow >>> 27) | (mixedHigh << 5);
    const turn = high >>> 27;
    return ((word >>> turn) | (word << (-turn & 31))) >>> 0;
  }

  /** Uniform whole number in 0 … bound − 1, without the bias of a plain remainder. `bound` from 1 to 2^32 − 1. */
  below(bound: number): number {
    if (!Number.isInteger(bound) || bound < 1 || bound >= TWO_32) {
      throw new RangeError(`A draw needs a whole bound from 1 to ${TWO_32 - 1}, not ${bound}.`);
    }
    const refused = (TWO_32 - bound) % bound;
    for (;;) {
      const draw = this.next();
      if (draw >= refused) return draw % bound;
    }
  }

  /** One step of the 64-bit linear congruential sequence, in two 32-bit halves. */
  private advance(): void {
    const low = this.low;
    const a = low & 0xffff;
    const b = low >>> 16;
    const c = MULTIPLIER_LOW & 0xffff;
    const d = MULTIPLIER_LOW >>> 16;
    const ac = a * c;
    const middle = b * c + Math.floor(ac / 65536);
    const cross = a * d + (middle % 65536);
    const productLow = (((cross & 0xffff) << 16) | (ac & 0xffff)) >>> 0;
    const productHigh = b * d + Math.floor(middle / 65536) + Math.floor(cross / 65536);
    const sumLow = productLow + this.stepLow;
    const carry = sumLow >= TWO_32 ? 1 : 0;
    this.high =
      (productHigh + Math.imul(low, MULTIPLIER_HIGH) + Math.imul(this.high, MULTIPLIER_LOW) + this.stepHigh + carry) | 0;
    this.low = sumLow >>> 0;
  }
}

function wholeNumber(what: string, value: number): void {
  if (!Number.isSafeInteger(value) || value < 0) {
    throw new RangeError(`The ${what} of an order is a whole number from 0 to 2^53 − 1, not ${value}.`);
  }
}

/**
 * Shuffles in place, every order equally likely, and returns the same array. Fisher–Yates from the far end in
 * Durstenfeld's form (Knuth, The Art of Computer Programming vol. 2, algorithm 3.4.2P).
 */
export function shuffle<T>(items: T[], rng: Pcg32): T[] {
  for (let end = items.length; end > 1; end--) {
    const chosen = rng.below(end);
    const kept = items[chosen];
    items[chosen] = items[end - 1];
    items[end - 1] = kept;
  }
  return items;
}
