// What each command does. Sizes, states and values are checked before anything changes.
import {
  clearTripRecord, hearHost, permit, renewPermit, setGuards, setState, state, stopPressed,
} from './board';
import { anyStale, channels } from './channels';
import { canHold } from './holds';
import { at16, at32, at8 } from './inbox';
import { tripAlone } from './latch';
import { checksum, setLimit } from './limits';
import { askEnd, endRun, startRun } from './player';
import { append, clearAfter, emptyQueue, nextOrdinal, ordinal, sealed, waiting } from './queue';
import { firstBroken, resetRule } from './rules';
import { sendAck, sendChannel, sendIdentity, sendStatus, setDivider } from './telemetry';
import * as at from '../wire/layout';
import * as m from '../wire/messages';
import { TRIP_HOST_FAULT, TRIP_NONE } from '../wire/trip-codes';

// bit masks of states
const SAFE: i32 = 1;
const READY: i32 = 2;
const DRIVING: i32 = 4;
const TRIPPED: i32 = 8;
const ANY: i32 = 15;

const COMMANDS: i32 = 17; // ids 1..16
const sizeOf: StaticArray<i32> = new StaticArray<i32>(17);
const statesOf: StaticArray<i32> = new StaticArray<i32>(17);
/** Commands that may run again at any time; all others run once per sequence number. */
const repeatable: StaticArray<i32> = new StaticArray<i32>(17);

function rule(id: i32, size: i32, states: i32, again: i32): void {
  sizeOf[id] = size;
  statesOf[id] = states;
  repeatable[id] = again;
}
rule(m.CMD_HELLO, at.HELLO_SIZE, ANY, 1);
rule(m.CMD_DESCRIBE, at.DESCRIBE_SIZE, ANY, 1);
rule(m.CMD_SET_TELEMETRY, at.TELEMETRY_SIZE, ANY, 1);
rule(m.CMD_SET_LIMIT, at.LIMIT_SIZE, SAFE, 0);
rule(m.CMD_SET_GUARDS, at.GUARD_SIZE, SAFE, 0);
rule(m.CMD_ARM, at.ARM_SIZE, SAFE, 0);
rule(m.CMD_DISARM, at.BARE_SIZE, SAFE | READY | DRIVING, 0);
rule(m.CMD_SEGMENT, at.SEGMENT_SIZE, READY | DRIVING, 0);
rule(m.CMD_START, at.BARE_SIZE, READY, 0);
rule(m.CMD_END_SEGMENT, at.ORDINAL_SIZE, DRIVING, 0);
rule(m.CMD_CLEAR_AFTER, at.ORDINAL_SIZE, DRIVING, 0);
rule(m.CMD_STOP, at.BARE_SIZE, ANY, 1);
rule(m.CMD_TRIP, at.TRIP_SIZE, ANY, 1);
rule(m.CMD_CLEAR_TRIP, at.CLEAR_SIZE, TRIPPED, 0);
rule(m.CMD_STATUS, at.BARE_SIZE, ANY, 1);

let lastId: i32 = 0;
let lastSequence: i32 = 0;

export function resetCommands(): void {
  lastId = 0;
  lastSequence = 0;
}

function hello(): i32 {
  sendIdentity();
  return at16(at.HELLO_VERSION) == m.WIRE_VERSION ? m.RESULT_OK : m.RESULT_BAD_VALUE;
}

function describe(): i32 {
  const channel: i32 = at8(at.DESCRIBE_CHANNEL);
  if (channel >= channels) return m.RESULT_BAD_VALUE;
  sendChannel(channel);
  return m.RESULT_OK;
}

function setTelemetry(): i32 {
  const n: i32 = at16(at.TELEMETRY_DIVIDER);
  if (n == 0) return m.RESULT_BAD_VALUE;
  setDivider(n);
  return m.RESULT_OK;
}

function limit(): i32 {
  const slot: i32 = at8(at.LIMIT_SLOT);
  const result: i32 = setLimit(
    slot, at8(at.LIMIT_RULE), at8(at.LIMIT_CHANNEL), at8(at.LIMIT_CAUSE), at32(at.LIMIT_THRESHOLD),
    at16(at.LIMIT_BAD), at16(at.LIMIT_WINDOW), at32(at.LIMIT_SPAN),
  );
  if (result == m.RESULT_OK) resetRule(slot);
  return result;
}

function guards(): i32 {
  const deadman: i32 = at32(at.GUARD_DEADMAN);
  const run: i32 = at32(at.GUARD_LONGEST_RUN);
  const cap: i32 = at16(at.GUARD_THROTTLE_CAP);
  const still: i32 = at32(at.GUARD_STILL_PERIOD);
  if (deadman < 1000 || deadman > 2000000 || run < 1 || run > 1800000000 || cap > m.THROTTLE_FULL || still < 1) {
    return m.RESULT_BAD_VALUE;
  }
  setGuards(deadman, run, cap, at32(at.GUARD_CURRENT_ZERO), at32(at.GUARD_VOLTAGE_ZERO), still);
  return m.RESULT_OK;
}

function arm(): i32 {
  if (at16(at.ARM_KEY) != m.KEY_ARM) return m.RESULT_BAD_VALUE;
  if (at32(at.ARM_CHECKSUM) != checksum()) return m.RESULT_CHECKSUM;
  if (stopPressed || anyStale() || firstBroken() >= 0) return m.RESULT_CONDITION;
  emptyQueue();
  hearHost();
  setState(m.STATE_READY);
  return m.RESULT_OK;
}

/** Zero throttle and safe; MSG_ENDED when a run was on. Nothing to do in safe, and a trip stays a trip. */
function stop(): i32 {
  if (state == m.STATE_READY || state == m.STATE_DRIVING) endRun(m.END_STOPPED, m.STATE_SAFE, state == m.STATE_DRIVING);
  return m.RESULT_OK;
}

function targetFits(kind: i32, target: i32): bool {
  if (kind == m.SEG_REST) return true;
  if (kind == m.SEG_LEVEL || kind == m.SEG_RAMP) return target >= 0 && target <= m.THROTTLE_FULL;
  return kind >= m.SEG_HOLD_CURRENT && kind <= m.SEG_HOLD_SPEED && target >= 1 && canHold(kind);
}

function segment(): i32 {
  const kind: i32 = at8(at.SEGMENT_KIND);
  const flags: i32 = at8(at.SEGMENT_FLAGS);
  const target: i32 = at32(at.SEGMENT_TARGET);
  const duration: i32 = at32(at.SEGMENT_DURATION);
  const cap: i32 = at16(at.SEGMENT_CAP);
  if (sealed || at16(at.SEGMENT_ORDINAL) != nextOrdinal || flags > m.SEG_FLAG_LAST || !targetFits(kind, target)) {
    return m.RESULT_BAD_VALUE;
  }
  if (duration < 1 || duration > 600000000 || cap > m.THROTTLE_FULL) return m.RESULT_BAD_VALUE;
  if (waiting >= m.SEGMENT_QUEUE) return m.RESULT_QUEUE_FULL;
  append(
    kind, flags, target, duration, cap, at16(at.SEGMENT_SLEW), at16(at.SEGMENT_GAIN_P), at16(at.SEGMENT_GAIN_I),
  );
  return m.RESULT_OK;
}

function start(): i32 {
  if (waiting == 0 || permit == 0) return m.RESULT_CONDITION;
  startRun();
  return m.RESULT_OK;
}

function endSegment(): i32 {
  if (at16(at.ORDINAL_AT) != ordinal) return m.RESULT_NOT_CURRENT;
  askEnd();
  return m.RESULT_OK;
}

function tripAsked(): i32 {
  const code: i32 = at8(at.TRIP_CODE);
  tripAlone(code == TRIP_NONE ? TRIP_HOST_FAULT : code, 0, 0);
  return m.RESULT_OK;
}

function clearTrip(): i32 {
  if (at16(at.CLEAR_KEY) != m.KEY_CLEAR) return m.RESULT_BAD_VALUE;
  if (stopPressed) return m.RESULT_CONDITION;
  clearTripRecord();
  setState(m.STATE_SAFE);
  return m.RESULT_OK;
}

function status(): i32 {
  sendStatus();
  return m.RESULT_OK;
}

/** Runs a command whose size and state are right. */
function run(id: i32): i32 {
  switch (id) {
    case m.CMD_HELLO: return hello();
    case m.CMD_DESCRIBE: return describe();
    case m.CMD_SET_TELEMETRY: return setTelemetry();
    case m.CMD_SET_LIMIT: return limit();
    case m.CMD_SET_GUARDS: return guards();
    case m.CMD_ARM: return arm();
    case m.CMD_DISARM: return stop();
    case m.CMD_SEGMENT: return segment();
    case m.CMD_START: return start();
    case m.CMD_END_SEGMENT: return endSegment();
    case m.CMD_CLEAR_AFTER: return clearAfter(at16(at.ORDINAL_AT)) ? m.RESULT_OK : m.RESULT_NOT_CURRENT;
    case m.CMD_STOP: return stop();
    case m.CMD_TRIP: return tripAsked();
    case m.CMD_CLEAR_TRIP: return clearTrip();
    default: return status();
  }
}

function decide(id: i32, size: i32): i32 {
  const known: bool = id > 0 && id < COMMANDS && id != m.CMD_PERMIT;
  if (!known && state != m.STATE_TRIPPED) return m.RESULT_UNKNOWN;
  if (!known || (statesOf[id] & (1 << state)) == 0) return m.RESULT_WRONG_STATE;
  if (size != sizeOf[id]) return m.RESULT_BAD_VALUE;
  return run(id);
}

/**
 * Carries out the command in the inbox and answers it. A permit is never answered (nor taken while tripped). A command that
 * was just carried out and comes again with the same id and sequence number is answered again, not carried out again.
 * Returns false for a permit of the wrong size.
 */
export function execute(size: i32): bool {
  const id: i32 = at8(0);
  const sequence: i32 = at8(1);
  if (id == m.CMD_PERMIT) {
    if (size != at.PERMIT_SIZE) return false;
    const span: i32 = at32(at.PERMIT_SPAN);
    if (state != m.STATE_TRIPPED) renewPermit(span > 0 ? span : 0);
    return true;
  }
  let result: i32 = m.RESULT_OK;
  if (id != lastId || sequence != lastSequence || repeatable[id] != 0) {
    result = decide(id, size);
    if (result == m.RESULT_OK) {
      lastId = id;
      lastSequence = sequence;
    }
  }
  sendAck(id, sequence, result);
  return true;
}
