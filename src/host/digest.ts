// Digests of what was written.
import { createHash } from 'node:crypto';

/** SHA-256 of a UTF-8 text or of bytes, hexadecimal. */
export function sha256(content: string | Uint8Array): string {
  return createHash('sha256').update(content).digest('hex');
}
