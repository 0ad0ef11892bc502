// The limits of a rig: what stops the motor, and what must be true before it may start.
import { count, noted, object, orNull, quantity } from '../fields';
import type { Dimension } from '../../units';

const window = (about: string) => quantity('time', { about, example: '20 ms', above: '0 s', max: '600 s' });
const holdsFor = window('How long it must be so: most fresh samples of this time');

function above(about: string, dimension: Dimension, example: string) {
  return object(about, { above: quantity(dimension, { about: 'Trips above this', example }), for: holdsFor });
}

const currentPeak = above('Current over milliseconds', 'current', '40 A').transform((v) => ({ above_A: v.above, for_s: v.for }));
const currentMean = object('Mean current over about half a second', {
  above: quantity('current', { about: 'Trips when the mean is above this', example: '9 A', above: '0 A' }),
  over: quantity('time', { about: 'Time of the mean', example: '500 ms', above: '0 s', max: '30 s' }),
}).transform((v) => ({ above_A: v.above, over_s: v.over }));
const voltageLow = object('Bus voltage too low', {
  below: quantity('voltage', { about: 'Trips below this', example: '5.5 V', min: '0 V' }),
  for: holdsFor,
}).transform((v) => ({ below_V: v.below, for_s: v.for }));
const voltageHigh = above('Bus voltage too high, also from braking', 'voltage', '9 V').transform((v) => ({ above_V: v.above, for_s: v.for }));
const temperature = (what: string) => above(`${what} too hot`, 'temperature', '90 °C').transform((v) => ({ above_degC: v.above, for_s: v.for }));
const speed = above('Speed too high', 'speed', '38000 rpm').transform((v) => ({ above_rpm: v.above, for_s: v.for }));
const thrust = above('Thrust too high', 'force', '250 gf').transform((v) => ({ above_N: v.above, for_s: v.for }));
const stall = object('Current without rotation', {
  current: quantity('current', { about: 'Current from which a standing motor is a stall', example: '3 A', above: '0 A' }),
  for: holdsFor,
}).transform((v) => ({ current_A: v.current, for_s: v.for }));
const desync = object('Loss of synchronism', {
  sustained: window('No rotation for this long while driving trips; a shorter one is counted'),
  count: count('More than this many in one run trips', 0, 100_000, 40),
}).transform((v) => ({ sustained_s: v.sustained, count: v.count }));
const supplySag = object('Supply not stiff: voltage below a share of what was set', {
  below: quantity('ratio', { about: 'Share of the set voltage', example: '80 %', above: '0 %', max: '100 %' }),
  for: holdsFor,
}).transform((v) => ({ below: v.below, for_s: v.for }));
const rise = quantity('temperature_rate', { about: 'Trips when the temperature rises faster', example: '20 K/s', above: '0 K/s' });
const trend = object('Temperature rising too fast', { motor_temperature: rise.optional(), esc_temperature: rise.optional(), over: window('Time over which the slope is taken') })
  .transform((v) => ({ motor_K_per_s: orNull(v.motor_temperature), esc_K_per_s: orNull(v.esc_temperature), over_s: v.over }));
const mismatch = object('Readings that contradict each other: thrust against what speed leads to expect', {
  thrust: quantity('ratio', { about: 'How far thrust may lie from the expectation', example: '40 %', above: '0 %', max: '100 %' }),
  for: holdsFor,
}).transform((v) => ({ thrust: v.thrust, for_s: v.for }));
const stop = object('When a stop counts as done: measured, not believed', {
  current: quantity('current', { about: 'Current below this', example: '400 mA', above: '0 A' }),
  speed: quantity('speed', { about: 'Speed below this, or no speed reading any more', example: '1500 rpm', above: '0 rpm' }),
  within: window('Within this time after zero throttle; later is stop-unconfirmed'),
}).transform((v) => ({ current_A: v.current, speed_rpm: v.speed, within_s: v.within }));

/** `limits:` A limit that is left out is null; the ones without a null are always there. */
export const limitsSchema = noted(object('Limits: what stops the motor', {
  current_peak: currentPeak,
  current_mean: currentMean,
  voltage_low: voltageLow.optional(),
  voltage_high: voltageHigh,
  motor_temperature: temperature('Motor case').optional(),
  esc_temperature: temperature('ESC').optional(),
  speed: speed.optional(),
  thrust: thrust.optional(),
  stall: stall.optional(),
  desync: desync.optional(),
  sensor_stale: count('A channel without a fresh sample for this many of its periods trips', 2, 256, 5).prefault(5),
  sensor_frozen: quantity('time', { about: 'A count that has not changed for this long while driving trips (current and thrust)', example: '200 ms', above: '0 s', max: '60 s' }).optional(),
  host_silence: quantity('time', { about: 'The board stops when the computer is silent for this long', example: '100 ms', min: '5 ms', max: '2 s' }).prefault('100 ms'),
  longest_run: quantity('time', { about: 'No run may last longer', example: '10 min', above: '0 s', max: '35 min' }),
  throttle_cap: quantity('ratio', { about: 'No throttle above this', example: '100 %', above: '0 %', max: '100 %' }).prefault('100 %'),
  supply_sag: supplySag.optional(),
  trend: trend.optional(),
  mismatch: mismatch.optional(),
  stop,
}).transform((v) => ({
  current_peak: v.current_peak,
  current_mean: v.current_mean,
  voltage_low: orNull(v.voltage_low),
  voltage_high: v.voltage_high,
  motor_temperature: orNull(v.motor_temperature),
  esc_temperature: orNull(v.esc_temperature),
  speed: orNull(v.speed),
  thrust: orNull(v.thrust),
  stall: orNull(v.stall),
  desync: orNull(v.desync),
  /** Periods of a channel. */
  sensor_stale: v.sensor_stale,
  sensor_frozen_s: orNull(v.sensor_frozen),
  host_silence_s: v.host_silence,
  longest_run_s: v.longest_run,
  /** Fraction 0..1. */
  throttle_cap: v.throttle_cap,
  supply_sag: orNull(v.supply_sag),
  trend: orNull(v.trend),
  mismatch: orNull(v.mismatch),
  stop: v.stop,
})), 'a map of limits');

const bound = (about: string, example: string) => quantity('temperature', { about, example });

/** `arm_when:` Conditions that must hold before the motor may start. */
export const armWhenSchema = object('Conditions that must hold before the motor may start', {
  motor_temperature_below: bound('Motor case colder than this', '45 °C').optional(),
  motor_temperature_above: bound('Motor case warmer than this (warm-up)', '20 °C').optional(),
  esc_temperature_below: bound('ESC colder than this', '50 °C').optional(),
  esc_temperature_above: bound('ESC warmer than this (warm-up)', '20 °C').optional(),
  supply_within: quantity('ratio', { about: 'Bus voltage this near to the voltage that was set', example: '3 %', above: '0 %', max: '50 %' }).optional(),
  within: window('How long to wait for it before giving up'),
}).transform((v) => ({
  motor_below_degC: orNull(v.motor_temperature_below),
  motor_above_degC: orNull(v.motor_temperature_above),
  esc_below_degC: orNull(v.esc_temperature_below),
  esc_above_degC: orNull(v.esc_temperature_above),
  supply_within: orNull(v.supply_within),
  within_s: v.within,
}));
