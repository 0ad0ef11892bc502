// zstd for chunks, loaded once; importing this module waits until it is ready.
import zstd from '@foxglove/wasm-zstd';

await zstd.isLoaded;

/** Level 1: smaller than the lower ones, and faster than any source here delivers. */
const LEVEL = 1;
/** Larger than any chunk that is written; a damaged size field must not exhaust memory. */
const LARGEST_CHUNK = 256 * 1024 * 1024;

export function compress(bytes: Uint8Array): Uint8Array {
  return zstd.compress(bytes, LEVEL);
}

/** Handlers by compression name, in the form @mcap/core takes. */
export const decompressHandlers = {
  zstd: (bytes: Uint8Array, size: bigint): Uint8Array => {
    if (size > LARGEST_CHUNK) throw new RangeError(`a chunk claims to hold ${size} bytes, more than the ${LARGEST_CHUNK} that are accepted`);
    return zstd.decompress(bytes, Number(size));
  },
};
