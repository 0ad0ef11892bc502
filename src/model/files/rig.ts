// rig.yaml: the stand, its electronics, its channels and its limits.
import { z } from 'zod';
import { count, noted, object, orNull, quantity, text, word } from '../fields';
import { channelsSchema } from './rig-channels';
import { head } from './head';
import { armWhenSchema, limitsSchema } from './rig-limits';
import { linkSchema, throttleSchema } from './rig-link';
import { sinkSchema, supplySchema } from './rig-supply';

const cutOff = noted(z.discriminatedUnion('kind', [
  object('No way to cut the power but by hand', { kind: z.literal('none') }),
  object('The programmable supply switches its output off', { kind: z.literal('supply-output') }),
  object('A relay or contactor in the supply lead that needs a live signal', { kind: z.literal('contactor'), note: text('What drives it and how it was tried', 'heartbeat relay, tried 2026-03-01').optional() })
    .transform((v) => ({ kind: v.kind, note: orNull(v.note) })),
]).meta({ description: 'What cuts the power without this program' }), 'kind: none | supply-output | contactor');

const environment = object('The air at the bench', {
  temperature: quantity('temperature', { about: 'Air temperature', example: '21 °C', min: '-40 °C', max: '60 °C' }),
  pressure: quantity('pressure', { about: 'Station pressure: as a barometer at the bench reads it, not reduced to sea level', example: '1008 hPa', min: '300 hPa', max: '1100 hPa' }),
  humidity: quantity('ratio', { about: 'Relative humidity', example: '45 %', min: '0 %', max: '100 %' }),
}).transform((v) => ({ temperature_degC: v.temperature, pressure_Pa: v.pressure, humidity: v.humidity }));

const checkMass = object('A mass that is put on the load cell at the start of a campaign', {
  mass: quantity('mass', { about: 'Its mass', example: '100 g', above: '0 g' }),
  within: quantity('ratio', { about: 'How far the reading may lie from it', example: '1 %', above: '0 %', max: '20 %' }),
}).transform((v) => ({ mass_kg: v.mass, within: v.within }));

const remountU = (what: string) => quantity('ratio', { about: `Standard deviation of ${what} between mountings, relative`, example: '0.4 %', min: '0 %', max: '50 %' });
const remount = object('What re-mounting changes, from a repeatability study', {
  mounts: count('Mountings in the study', 2, 1000, 6),
  thrust: remountU('thrust').optional(),
  speed: remountU('speed').optional(),
  power: remountU('power').optional(),
}).transform((v) => ({ mounts: v.mounts, thrust: orNull(v.thrust), speed: orNull(v.speed), power: orNull(v.power) }));

const proof = object('The proof test of the stopping layers', {
  valid_for: quantity('time', { about: 'A test older than this blocks arming', example: '30 d', above: '0 s' }),
}).transform((v) => ({ valid_for_s: v.valid_for }));

/** rig.yaml */
export const rigSchema = object('A rig: stand, electronics, channels, limits', {
  ...head('rig', 'Name of the rig', 'scout-stand'),
  about: text('A note for people', 'Bench by the window, guard closed').optional(),
  link: linkSchema,
  throttle: throttleSchema.prefault({}),
  tick: quantity('time', { about: 'Tick of the controller', example: '1 ms', min: '125 us', max: '20 ms' }),
  row_rate: quantity('frequency', { about: 'Telemetry rows per second; at most one a tick', example: '1 kHz', min: '1 Hz', max: '8 kHz' }),
  voltage_at: word('Where the voltage is sensed', ['esc', 'supply']),
  lead_resistance: quantity('resistance', { about: 'Resistance of the leads between voltage sense and ESC, both ways', example: '8 mohm', min: '0 ohm', max: '1 ohm' }),
  sink: sinkSchema,
  supply: supplySchema,
  channels: channelsSchema,
  limits: limitsSchema,
  arm_when: armWhenSchema.optional(),
  cut_off: cutOff.prefault({ kind: 'none' }),
  environment: environment.optional(),
  check_mass: checkMass.optional(),
  remount: remount.optional(),
  proof: proof.optional(),
}).transform((v) => ({
  name: v.rig,
  about: orNull(v.about),
  link: v.link,
  throttle: v.throttle,
  tick_us: Math.round(v.tick * 1e6),
  row_rate_Hz: v.row_rate,
  voltage_at: v.voltage_at,
  lead_resistance_ohm: v.lead_resistance,
  sink: v.sink,
  supply: v.supply,
  channels: v.channels,
  limits: v.limits,
  arm_when: orNull(v.arm_when),
  cut_off: v.cut_off,
  environment: orNull(v.environment),
  check_mass: orNull(v.check_mass),
  remount: orNull(v.remount),
  proof: orNull(v.proof),
}));

/** A rig in SI units: fractions 0..1, seconds, volts; names end in the unit. */
export type Rig = Readonly<z.output<typeof rigSchema>>;
export type RigLimits = Rig['limits'];
export type RigLink = Rig['link'];
export type Supply = Rig['supply'];
export type Sink = Rig['sink'];
