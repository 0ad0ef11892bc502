// Running checksum of a file's data section, compared at the DataEnd record. Format: mcap.dev/spec, "Data End".
import { crc32 } from './file-crc';

/** Opcode, length and checksum: a DataEnd record. It is not part of the sum that it carries. */
const DATA_END_LENGTH = 1 + 8 + 4;

/** Sums the bytes of a file, always one DataEnd behind, so that the sum up to that record's start is at hand when it arrives. */
export class DataSum {
  #crc = 0;
  #summed = 0;
  #tail = new Uint8Array(0);

  /** Takes a piece once the records in it were looked at. */
  push(piece: Uint8Array): void {
    const keep = Math.min(DATA_END_LENGTH, this.#tail.length + piece.length);
    this.#sumTo(this.#summed + this.#tail.length + piece.length - keep, piece);
  }

  /** Checksum of everything before a DataEnd record that ends at byte `end`, which lies in `piece`, the next to be pushed. */
  before(end: number, piece: Uint8Array): number {
    return this.#advance(end - DATA_END_LENGTH, piece).crc;
  }

  #sumTo(position: number, piece: Uint8Array): void {
    const { crc, fromTail, fromPiece } = this.#advance(position, piece);
    const tail = new Uint8Array(this.#tail.length - fromTail + piece.length - fromPiece);
    tail.set(this.#tail.subarray(fromTail));
    tail.set(piece.subarray(fromPiece), this.#tail.length - fromTail);
    this.#crc = crc;
    this.#summed = position;
    this.#tail = tail;
  }

  #advance(position: number, piece: Uint8Array): { crc: number; fromTail: number; fromPiece: number } {
    const fromTail = Math.min(this.#tail.length, position - this.#summed);
    const fromPiece = position - this.#summed - fromTail;
    let crc = this.#crc;
    if (fromTail > 0) crc = crc32(this.#tail.subarray(0, fromTail), crc);
    if (fromPiece > 0) crc = crc32(piece.subarray(0, fromPiece), crc);
    return { crc, fromTail, fromPiece };
  }
}
