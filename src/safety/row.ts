// One telemetry row as the rules see it: in SI, with what it says about the board. Filled in place, once a row.
import type { ChannelKind } from '../model/channel';

/** Channels that the wire carries at most. */
export const CHANNELS_MAX = 8;
export class Row {
  /** Device time of this row, µs; and of the row before, -1 for the first. */
  tick_us = -1;
  before_us = -1;
  /** Throttle commanded, 0..1. */
  throttle = 0;
  ordinal = 0;
  /** The board is ready or driving; drives; drives with a throttle above zero. And whether it was armed in the row before. */
  armed = false;
  wasArmed = false;
  driving = false;
  powered = false;
  tripped = false;
  /** Masks: a new sample; a new sample that is possible. */
  fresh = 0;
  good = 0;
  /** Latest possible value of each channel in its SI unit, and the device time at which it came (-1 never). */
  readonly si = new Float64Array(CHANNELS_MAX);
  readonly at_us = new Float64Array(CHANNELS_MAX).fill(-1);
  /** Device time of the latest sample, possible or not; of the first row for a channel that never gave one. */
  readonly fresh_us = new Float64Array(CHANNELS_MAX).fill(-1);
}

/** What the rules may know of a channel. */
export interface Channel {
  readonly id: number;
  readonly kind: ChannelKind;
  readonly column: string;
  readonly unit: string;
  readonly period_us: number;
}

export const UNIT_OF: Readonly<Record<ChannelKind, string>> = {
  current: 'A', voltage: 'V', speed: 'rpm', thrust: 'N', motor_temperature: '°C', esc_temperature: '°C', torque: 'N m',
};

export const WORD_OF: Readonly<Record<ChannelKind, string>> = {
  current: 'current', voltage: 'voltage', speed: 'speed', thrust: 'thrust', motor_temperature: 'motor temperature',
  esc_temperature: 'ESC temperature', torque: 'torque',
};

/** A number for a person: four significant digits, no trailing zeros. */
export function show(value: number): string {
  return String(Number(value.toPrecision(4)));
}

/** A duration for a person, from microseconds. */
export function showTime(us: number): string {
  return us < 1e6 ? `${show(us / 1000)} ms` : `${show(us / 1e6)} s`;
}
