// Builds board payloads for tests, field by field from wire/layout.ts.
import * as L from '../../src/wire/layout';
import * as M from '../../src/wire/messages';

export interface RowFields {
  sequence?: number;
  tick?: number;
  throttle?: number;
  state?: number;
  queued?: number;
  cause?: number;
  ordinal?: number;
  fresh?: number;
  valid?: number;
  counts?: readonly number[];
}

export function rowPayload(f: RowFields): Uint8Array {
  const counts = f.counts ?? [];
  const bytes = new Uint8Array(L.ROW_VALUES + 4 * counts.length);
  const view = new DataView(bytes.buffer);
  bytes[0] = M.MSG_ROW;
  view.setUint16(1, f.sequence ?? 0, true);
  view.setUint32(L.ROW_TICK, (f.tick ?? 0) % 2 ** 32, true);
  view.setUint16(L.ROW_THROTTLE, f.throttle ?? 0, true);
  bytes[L.ROW_STATE] = (f.state ?? 0) | ((f.queued ?? 0) << 4);
  bytes[L.ROW_CAUSE] = f.cause ?? 0;
  view.setUint16(L.ROW_ORDINAL, f.ordinal ?? 0, true);
  bytes[L.ROW_FRESH] = f.fresh ?? 0;
  bytes[L.ROW_VALID] = f.valid ?? 0xff;
  counts.forEach((v, i) => view.setInt32(L.ROW_VALUES + 4 * i, v, true));
  return bytes;
}
