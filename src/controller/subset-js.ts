// Gives plain JavaScript the names that the two-compiler subset uses, with the same bit semantics as wasm.
// Loaded by the tests (vitest setupFiles); production code runs the wasm build only.
// SUBSET_STRICT=1 makes every array access out of bounds, and every store of a non-number, throw.

/** Plain array with zeroed slots, or a checked one in strict mode. */
function makeArray(length: number): number[] {
  const cells = new Array<number>(length).fill(0);
  if (process.env.SUBSET_STRICT === undefined) return cells;
  return new Proxy(cells, {
    get(target, key): unknown {
      if (typeof key === 'string' && /^-?\d+$/.test(key) && !(Number(key) >= 0 && Number(key) < length)) {
        throw new RangeError(`read at ${key} of a static array of ${String(length)}`);
      }
      return Reflect.get(target, key) as unknown;
    },
    set(target, key, value): boolean {
      if (typeof key === 'string' && !(Number(key) >= 0 && Number(key) < length)) {
        throw new RangeError(`store at ${key} of a static array of ${String(length)}`);
      }
      if (typeof value !== 'number' || !Number.isInteger(value)) throw new TypeError(`store of ${String(value)}`);
      return Reflect.set(target, key, value);
    },
  });
}

const names = globalThis as Record<string, unknown>;
names.i32 = (v: number): number => v | 0;
names.u32 = (v: number): number => v >>> 0;
names.u16 = (v: number): number => v & 0xffff;
names.u8 = (v: number): number => v & 0xff;
names.unchecked = (v: unknown): unknown => v; // strict mode checks what is inside all the same
names.ASC_TARGET = 0;
names.StaticArray = function StaticArray(length: number): number[] {
  return makeArray(length);
};
