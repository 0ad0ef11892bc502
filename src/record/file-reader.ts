// Records read from disk, in pieces.
import { createHash } from 'node:crypto';
import fs from 'node:fs';
import { type RecordHandlers, RecordCollector, RecordDecoder, type RecordEnd, type RunRecord } from './reader';

const PIECE = 1024 * 1024;

/** Calls `take` with the file's bytes in order. The piece is reused: copy what is kept. Returns the file's SHA-256. */
export function readPieces(path: string, take: (piece: Uint8Array) => void): string {
  const hash = createHash('sha256');
  const fd = fs.openSync(path, 'r');
  try {
    const piece = new Uint8Array(Math.min(PIECE, Math.max(1, fs.fstatSync(fd).size)));
    for (let n = fs.readSync(fd, piece); n > 0; n = fs.readSync(fd, piece)) {
      hash.update(piece.subarray(0, n));
      take(piece.subarray(0, n));
    }
  } finally {
    fs.closeSync(fd);
  }
  return hash.digest('hex');
}

/** A record from a file or from memory, cut off or not. Throws NotARecord for other files, and the system's error for none. */
export function readRecord(source: string | Uint8Array): RunRecord {
  return readRecordAndSum(source).record;
}

/** {@link readRecord}, with the SHA-256 of the bytes. */
export function readRecordAndSum(source: string | Uint8Array): { record: RunRecord; sha256: string } {
  const collector = new RecordCollector();
  let sha256: string;
  if (typeof source === 'string') {
    sha256 = readPieces(source, (piece) => { collector.decoder.push(piece); });
  } else {
    collector.decoder.push(source);
    sha256 = createHash('sha256').update(source).digest('hex');
  }
  return { record: collector.finish(), sha256 };
}

/** Reads a file without holding it in memory. */
export function streamRecord(path: string, handlers: RecordHandlers): RecordEnd {
  const decoder = new RecordDecoder(handlers);
  readPieces(path, (piece) => { decoder.push(piece); });
  return decoder.end();
}
