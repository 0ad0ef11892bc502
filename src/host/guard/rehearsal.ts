// The way from a row to an abort, walked many times before it counts: code that has never run is slow the first time.
import { encodeFrame } from '../../link/codec';
import { toCounts, type ChannelFact, type ChannelKind } from '../../model/channel';
import { Station } from '../../station/station';
import { ROW_FRESH, ROW_STATE, ROW_TICK, ROW_VALID, ROW_VALUES } from '../../wire/layout';
import { MSG_ROW, STATE_READY } from '../../wire/messages';
import type { StationSetup } from './messages';

/** Enough for the engine to compile what it meets; a few ten milliseconds in all. */
const ROUNDS = 60;
const CALM_ROWS = 20;
const BAD_ROWS = 40;
/** Forbidden by any limit on a current. */
const FAR_TOO_MUCH = 0x3fff_ffff;

/** Trips stations of this setup, none of which is connected to anything. Returns how many of them sent an abort. */
export function rehearse(setup: StationSetup): number {
  const current = setup.facts.find((f) => f.kind === 'current');
  let aborts = 0;
  for (let round = 0; round < ROUNDS; round++) {
    let sent = false;
    const station = new Station({ ...setup, send: () => { sent = true; }, onBlock: () => undefined, onEvent: () => undefined });
    station.hostTime(0);
    station.beat();
    for (let i = 1; i <= CALM_ROWS + BAD_ROWS && !sent; i++) {
      const bad = i > CALM_ROWS && current !== undefined;
      station.hostTime(i * setup.rig.tick_us);
      station.receive(row(i, setup, bad ? current.id : -1));
    }
    if (sent) aborts++;
  }
  return aborts;
}

/** A row of an armed board at rest, as the wire carries it; the channel `bad` says what no limit allows. */
function row(i: number, setup: StationSetup, bad: number): Uint8Array {
  const payload = new Uint8Array(ROW_VALUES + 4 * setup.facts.length);
  const view = new DataView(payload.buffer);
  payload[0] = MSG_ROW;
  view.setUint16(1, i, true);
  view.setUint32(ROW_TICK, i * setup.rig.tick_us, true);
  payload[ROW_STATE] = STATE_READY;
  payload[ROW_FRESH] = (1 << setup.facts.length) - 1;
  payload[ROW_VALID] = 0xff;
  setup.facts.forEach((fact, id) => { view.setInt32(ROW_VALUES + 4 * id, id === bad ? FAR_TOO_MUCH : countsAtRest(fact, setup), true); });
  return encodeFrame(payload);
}

const AT_REST: Readonly<Partial<Record<ChannelKind, number>>> = { motor_temperature: 25, esc_temperature: 25 };

function countsAtRest(fact: ChannelFact, setup: StationSetup): number {
  const si = fact.kind === 'voltage' ? (setup.supply_V ?? 0) : (AT_REST[fact.kind] ?? 0);
  const counts = Math.round(toCounts(fact.conversion, si));
  return Number.isFinite(counts) ? counts : 0xffff;
}
