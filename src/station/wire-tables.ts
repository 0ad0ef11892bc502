// The model's words as numbers of the wire.
import type { ChannelKind } from '../model/channel';
import type { BoardRule } from '../model/board-limits';
import type { TripCode } from '../model/trip';
import * as M from '../wire/messages';
import * as T from '../wire/trip-codes';

export const KIND_ON_WIRE: Readonly<Record<ChannelKind, number>> = {
  current: M.KIND_CURRENT, voltage: M.KIND_VOLTAGE, speed: M.KIND_PERIOD, thrust: M.KIND_THRUST,
  motor_temperature: M.KIND_MOTOR_TEMPERATURE, esc_temperature: M.KIND_ESC_TEMPERATURE, torque: M.KIND_TORQUE,
};

export const RULE_ON_WIRE: Readonly<Record<BoardRule, number>> = {
  above: M.RULE_ABOVE, below: M.RULE_BELOW, stale: M.RULE_STALE, invalid: M.RULE_INVALID, 'mean-above': M.RULE_MEAN_ABOVE,
  stall: M.RULE_STALL, desync: M.RULE_DESYNC, frozen: M.RULE_FROZEN,
};

export const CODE_ON_WIRE: Readonly<Record<TripCode, number>> = {
  CURRENT_PEAK: T.TRIP_CURRENT_PEAK, CURRENT_MEAN: T.TRIP_CURRENT_MEAN, VOLTAGE_LOW: T.TRIP_VOLTAGE_LOW, VOLTAGE_HIGH: T.TRIP_VOLTAGE_HIGH,
  MOTOR_TEMPERATURE: T.TRIP_MOTOR_TEMPERATURE, ESC_TEMPERATURE: T.TRIP_ESC_TEMPERATURE, OVERSPEED: T.TRIP_OVERSPEED, THRUST: T.TRIP_THRUST,
  SENSOR_STALE: T.TRIP_SENSOR_STALE, SENSOR_IMPOSSIBLE: T.TRIP_SENSOR_IMPOSSIBLE, SENSOR_FROZEN: T.TRIP_SENSOR_FROZEN, STALL: T.TRIP_STALL,
  DESYNC_SUSTAINED: T.TRIP_DESYNC_SUSTAINED, HOST_SILENT: T.TRIP_HOST_SILENT, LONGEST_RUN: T.TRIP_LONGEST_RUN, TICK: T.TRIP_TICK,
  STOP_INPUT: T.TRIP_STOP_INPUT, DESYNC_COUNT: T.TRIP_DESYNC_COUNT, TREND: T.TRIP_TREND, MISMATCH: T.TRIP_MISMATCH,
  PROPELLER_LOST: T.TRIP_PROPELLER_LOST, OUT_OF_ORDER: T.TRIP_OUT_OF_ORDER, SEGMENT_TIMEOUT: T.TRIP_SEGMENT_TIMEOUT,
  PROTOCOL_TIMEOUT: T.TRIP_PROTOCOL_TIMEOUT, CANNOT_RECORD: T.TRIP_CANNOT_RECORD, SUPPLY_SAG: T.TRIP_SUPPLY_SAG,
  SUPPLY_LIMITING: T.TRIP_SUPPLY_LIMITING, HOST_STALLED: T.TRIP_HOST_STALLED, LINK_LOST: T.TRIP_LINK_LOST, HOST_FAULT: T.TRIP_HOST_FAULT,
};

const CODE_OF = new Map(Object.entries(CODE_ON_WIRE).map(([code, cause]) => [cause, code as TripCode]));

/** The code of a cause on the wire; a cause that this version does not know is a fault of the host. */
export function codeOf(cause: number): TripCode {
  return CODE_OF.get(cause) ?? 'HOST_FAULT';
}

/** A gain as decimal mantissa and exponent, with nine significant digits: the form in which boards declare it. */
export function decimalGain(gain: number): [mantissa: number, exponent: number] {
  const [digits, power] = gain.toExponential(8).split('e');
  let mantissa = Math.round(Number(digits) * 1e8);
  let exponent = Number(power) - 8;
  while (mantissa !== 0 && mantissa % 10 === 0) {
    mantissa /= 10;
    exponent++;
  }
  return [mantissa, exponent];
}
