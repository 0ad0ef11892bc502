// Where one answer of an instrument ends and the next begins. A new line ends an answer, except inside a quoted text or a
// block of stated length.
import { parseBlock, ScpiSyntaxError } from './responses';

/** No answer to anything that is asked here is longer, bytes. */
const LONGEST = 1 << 20;
const NEW_LINE = 0x0a;
const CARRIAGE_RETURN = 0x0d;
const HASH = 0x23;
const QUOTES: readonly number[] = [0x22, 0x27];

export class ResponseReader {
  private held = new Uint8Array(0);

  /**
   * Takes bytes as they arrive and returns every answer that is whole now, without its new line.
   * @throws ScpiSyntaxError when what is held grows beyond a megabyte, or a block is none
   */
  push(bytes: Uint8Array): Uint8Array[] {
    const all = new Uint8Array(this.held.length + bytes.length);
    all.set(this.held);
    all.set(bytes, this.held.length);
    const answers: Uint8Array[] = [];
    let from = 0;
    for (let end = endOf(all, from); end >= 0; end = endOf(all, from)) {
      const last = end > from && all[end - 1] === CARRIAGE_RETURN ? end - 1 : end;
      answers.push(all.slice(from, last));
      from = end + 1;
    }
    this.held = all.slice(from);
    if (this.held.length > LONGEST) throw new ScpiSyntaxError(`an answer of more than ${LONGEST} bytes without an end`);
    return answers;
  }
}

/** Index of the new line that ends the answer which begins at `from`; -1 while it is not there. */
function endOf(bytes: Uint8Array, from: number): number {
  let quote = 0;
  for (let i = from; i < bytes.length; i++) {
    const c = bytes[i];
    if (quote !== 0) {
      if (c === quote) quote = 0;
      // No instrument breaks a line inside a text: a lost quote must not swallow every later answer.
      else if (c === NEW_LINE) return i;
    } else if (QUOTES.includes(c)) quote = c;
    else if (c === NEW_LINE) return i;
    else if (c === HASH && beginsBlock(bytes, i, from)) {
      const block = parseBlock(bytes.subarray(i));
      if (block === null) return -1;
      i += block.taken - 1;
    }
  }
  return -1;
}

/** `#` and a digit where a datum begins; `#H1F` and the like are numbers. */
function beginsBlock(bytes: Uint8Array, at: number, from: number): boolean {
  const before = at === from ? 0x2c : bytes[at - 1];
  const next = bytes[at + 1];
  return [0x2c, 0x3b, 0x20].includes(before) && (at + 1 >= bytes.length || (next >= 0x30 && next <= 0x39));
}
