// The stock image for the emulated board, fetched when a test first needs it and kept outside git.
import { execFileSync } from 'node:child_process';
import { readFileSync } from 'node:fs';
import path from 'node:path';

const SCRIPT = path.resolve(import.meta.dirname, '../../scripts/board-image.mjs');
const FLASH_BYTES = 0x8000;

export type BoardImage = { readonly flash: Uint16Array } | { readonly missing: string };

/** The image as the flash of an ATmega328P, or why it cannot be had. In CI it must be there. */
export function boardImage(): BoardImage {
  let file: string;
  try {
    file = execFileSync(process.execPath, [SCRIPT], { encoding: 'utf8', stdio: ['ignore', 'pipe', 'pipe'] }).trim();
  } catch (error) {
    const missing = ((error as { stderr?: string }).stderr ?? String(error)).trim();
    if (process.env.CI !== undefined) throw new Error(missing, { cause: error });
    return { missing };
  }
  return { flash: flashOf(readFileSync(file, 'utf8')) };
}

/** Intel HEX (data records alone) as flash words. Throws on a record whose sum is wrong. */
export function flashOf(hex: string): Uint16Array {
  const bytes = new Uint8Array(FLASH_BYTES).fill(0xff);
  for (const line of hex.split(/\r?\n/)) {
    if (!line.startsWith(':')) continue;
    const record = Buffer.from(line.slice(1), 'hex');
    if ((record.reduce((sum, byte) => sum + byte, 0) & 0xff) !== 0) throw new Error(`a record of the image has a wrong sum: ${line}`);
    if (record[3] === 0) bytes.set(record.subarray(4, 4 + record[0]), record.readUInt16BE(1));
  }
  return new Uint16Array(bytes.buffer);
}
