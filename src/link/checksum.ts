// The checksum over a board's limit table and guards that must be echoed at arming. Recipe: end of wire/layout.ts.
import * as L from '../wire/layout';
import * as M from '../wire/messages';
import { commandPayload, type Guards, type LimitRow } from './commands';
import { crc32 } from './crc';

/** Guards of a board that nobody has configured. */
export const GUARDS_AT_START: Guards = {
  deadman: L.GUARD_START_DEADMAN,
  longestRun: L.GUARD_START_LONGEST_RUN,
  throttleCap: L.GUARD_START_THROTTLE_CAP,
  currentZero: 0,
  voltageZero: 0,
  stillPeriod: L.GUARD_START_STILL_PERIOD,
};

/** CRC-32/ISO-HDLC of the table and guards as the board keeps them; a later row for a slot replaces an earlier one. */
export function limitsChecksum(rows: readonly LimitRow[], guards: Guards): number {
  const bytes = new Uint8Array(L.CHECKSUM_BYTES);
  for (const row of rows) {
    if (row.slot >= M.LIMIT_SLOTS) throw new RangeError(`limit slot ${row.slot}: the board has slots 0 to ${M.LIMIT_SLOTS - 1}`);
    const at = row.slot * L.CHECKSUM_SLOT_BYTES;
    const payload = commandPayload({ name: 'set-limit', ...row }, 0);
    const kept = payload.subarray(L.CHECKSUM_SLOT_AT, L.CHECKSUM_SLOT_AT + L.CHECKSUM_SLOT_BYTES);
    if (row.rule === M.RULE_OFF) bytes.fill(0, at, at + L.CHECKSUM_SLOT_BYTES);
    else bytes.set(kept, at);
  }
  const payload = commandPayload({ name: 'set-guards', ...guards }, 0);
  const kept = payload.subarray(L.CHECKSUM_GUARD_AT, L.CHECKSUM_GUARD_AT + L.CHECKSUM_GUARD_BYTES);
  bytes.set(kept, M.LIMIT_SLOTS * L.CHECKSUM_SLOT_BYTES);
  return crc32(bytes);
}
