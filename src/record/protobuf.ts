// The few pieces of the Protocol Buffers wire format that a record needs.
// Source: Protocol Buffers documentation, "Encoding" (protobuf.dev/programming-guides/encoding).

export const WIRE_VARINT = 0;
export const WIRE_FIXED64 = 1;
export const WIRE_BYTES = 2;
export const WIRE_FIXED32 = 5;

const utf8 = new TextEncoder();

/** Appends protobuf fields to a buffer that grows and is reused. */
export class ProtoWriter {
  #bytes = new Uint8Array(1024);
  #view = new DataView(this.#bytes.buffer);
  #length = 0;

  reset(): void {
    this.#length = 0;
  }

  /** View of what was written, valid until the next call. */
  written(): Uint8Array {
    return this.#bytes.subarray(0, this.#length);
  }

  varintField(field: number, value: number): void {
    this.#tag(field, WIRE_VARINT);
    this.#varint(value);
  }

  /** Unsigned whole number up to 2^53 as eight bytes. */
  fixed64Field(field: number, value: number): void {
    this.#tag(field, WIRE_FIXED64);
    this.#room(8);
    this.#view.setUint32(this.#length, value % 4294967296, true);
    this.#view.setUint32(this.#length + 4, Math.floor(value / 4294967296), true);
    this.#length += 8;
  }

  stringField(field: number, text: string): void {
    this.bytesField(field, utf8.encode(text));
  }

  bytesField(field: number, bytes: Uint8Array): void {
    this.#tag(field, WIRE_BYTES);
    this.#varint(bytes.length);
    this.#room(bytes.length);
    this.#bytes.set(bytes, this.#length);
    this.#length += bytes.length;
  }

  /** The first `rows` elements as a packed column of 4-byte little-endian numbers. */
  packedField(field: number, column: Int32Array | Uint32Array, rows: number): void {
    this.bytesField(field, new Uint8Array(column.buffer, column.byteOffset, rows * 4));
  }

  #tag(field: number, wire: number): void {
    this.#varint(field * 8 + wire);
  }

  #varint(value: number): void {
    this.#room(8);
    let rest = value;
    while (rest >= 128) {
      this.#bytes[this.#length++] = (rest % 128) | 128;
      rest = Math.floor(rest / 128);
    }
    this.#bytes[this.#length++] = rest;
  }

  #room(more: number): void {
    const need = this.#length + more;
    if (need <= this.#bytes.length) return;
    const bigger = new Uint8Array(Math.max(need, this.#bytes.length * 2));
    bigger.set(this.#bytes.subarray(0, this.#length));
    this.#bytes = bigger;
    this.#view = new DataView(bigger.buffer);
  }
}

/**
 * Calls `visit` for each field: a number for varint, fixed32 and fixed64, the bytes for a length-delimited one.
 * Throws RangeError when the message ends inside a field.
 */
export function scanFields(message: Uint8Array, visit: (field: number, value: number | Uint8Array) => void): void {
  const view = new DataView(message.buffer, message.byteOffset, message.byteLength);
  let at = 0;
  const varint = (): number => {
    let value = 0;
    for (let scale = 1; ; scale *= 128) {
      const byte = view.getUint8(at++);
      value += (byte & 127) * scale;
      if (byte < 128) return value;
      if (scale > 2 ** 56) throw new RangeError(`protobuf: number too long at byte ${at}`);
    }
  };
  while (at < message.length) {
    const tag = varint();
    const field = Math.floor(tag / 8);
    switch (tag % 8) {
      case WIRE_VARINT:
        visit(field, varint());
        break;
      case WIRE_FIXED64:
        visit(field, view.getUint32(at, true) + view.getUint32(at + 4, true) * 4294967296);
        at += 8;
        break;
      case WIRE_FIXED32:
        visit(field, view.getUint32(at, true));
        at += 4;
        break;
      case WIRE_BYTES: {
        const length = varint();
        if (at + length > message.length) throw new RangeError(`protobuf: field ${field} needs ${length} bytes at ${at}, the message has ${message.length}`);
        visit(field, message.subarray(at, at + length));
        at += length;
        break;
      }
      default:
        throw new RangeError(`protobuf: wire type ${tag % 8} at byte ${at} is not known`);
    }
  }
}
