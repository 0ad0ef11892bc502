// protocols/*.yaml: a bench procedure that a person writes out of segments.
import { z } from 'zod';
import { parseQuantity } from '../../units';
import { COLUMN_OF } from '../channel';
import { complain, count, flag, noted, object, oneKey, orNull, plainNumber, quantity, slug, text, word } from '../fields';
import type { Condition } from '../segment';
import { head } from './head';
import { DIMENSION_OF } from './rig-channels';

/** Channels that a protocol may ask for or wait on. */
export const PROTOCOL_CHANNELS = ['current', 'voltage', 'speed', 'thrust', 'motor_temperature', 'esc_temperature'] as const;

const share = (about: string, example: string) => quantity('ratio', { about, example, min: '0 %', max: '100 %' });
const duration = (about: string, example: string) => quantity('time', { about, example, above: '0 s', max: '600 s' });

const common = {
  label: text('What a person calls it', 'up to half').optional(),
  role: slug('What analysis looks for: plateau, ramp-up, ramp-down, step-up, step-down, hold, settle', 'plateau').optional(),
  cap: share('Throttle that this segment may not exceed', '80 %').optional(),
  slew: quantity('ratio_rate', { about: 'Fastest change of throttle', example: '200 %/s', above: '0 %/s' }).optional(),
  tags: z.record(z.string().regex(/^[a-z][a-zA-Z0-9_]{0,63}$/), plainNumber('A number for analysis', 1)).meta({ description: 'Numbers for analysis' }).optional(),
};
interface CommonIn { label?: string | undefined; role?: string | undefined; cap?: number | undefined; slew?: number | undefined; tags?: Record<string, number> | undefined }
const shared = (v: CommonIn): SegmentNotes => ({ label: orNull(v.label), role: orNull(v.role), cap: orNull(v.cap), slew_per_s: orNull(v.slew), tags: v.tags ?? {} });

/** What any segment may carry; null where the file says nothing. */
export interface SegmentNotes {
  readonly label: string | null;
  readonly role: string | null;
  readonly cap: number | null;
  readonly slew_per_s: number | null;
  readonly tags: Readonly<Record<string, number>>;
}

/** One entry of `segments:`; throttles are fractions 0..1, times seconds. */
export type ProtocolEntry =
  | ({ readonly kind: 'rest'; readonly for_s: number } & SegmentNotes)
  | ({ readonly kind: 'level'; readonly throttle: number; readonly for_s: number } & SegmentNotes)
  | ({ readonly kind: 'ramp'; readonly to: number; readonly in_s: number } & SegmentNotes)
  | ({ readonly kind: 'train'; readonly low: number; readonly high: number; readonly cycles: number; readonly dwell_s: number; readonly dither_s: number } & SegmentNotes)
  | ({ readonly kind: 'hold-current'; readonly target_A: number; readonly for_s: number } & SegmentNotes)
  | ({ readonly kind: 'hold-power'; readonly target_W: number; readonly for_s: number } & SegmentNotes)
  | ({ readonly kind: 'hold-speed'; readonly target_rpm: number; readonly for_s: number } & SegmentNotes)
  | ({ readonly kind: 'wait-until'; readonly throttle: number; readonly until: Condition; readonly within_s: number } & SegmentNotes)
  | { readonly kind: 'repeat'; readonly times: number; readonly segments: readonly ProtocolEntry[] }
  | { readonly kind: 'mark'; readonly label: string }
  | { readonly kind: 'use'; readonly protocol: string; readonly parameters: Readonly<Record<string, unknown>> };

const rest = object('Zero throttle', { for: duration('How long', '1 s'), ...common }).transform((v) => ({ for_s: v.for, ...shared(v) }));
const level = object('A held throttle', { throttle: share('Throttle', '50 %'), for: duration('How long', '2 s'), ...common })
  .transform((v) => ({ throttle: v.throttle, for_s: v.for, ...shared(v) }));
const ramp = object('A straight change of throttle', { to: share('Throttle at its end', '100 %'), in: duration('How long it takes', '5 s'), ...common })
  .transform((v) => ({ to: v.to, in_s: v.in, ...shared(v) }));
const train = object('Steps up and down again between two levels', {
  low: share('Lower throttle', '10 %'),
  high: share('Upper throttle', '50 %'),
  cycles: count('Steps each way', 1, 10_000, 30),
  dwell: duration('Time at each level', '500 ms'),
  dither: quantity('time', { about: 'Each dwell is longer or shorter by up to this, so that steps do not keep time with anything', example: '10 ms', min: '0 ms', max: '10 s' }).prefault('0 ms'),
  ...common,
}).transform((v, ctx) => {
  if (v.low >= v.high) complain(ctx, v.low, 'the lower throttle is not below the upper one', { accepted: `below ${v.high * 100} %` }, ['low']);
  if (v.dither >= v.dwell) complain(ctx, v.dither, 'the dither is not shorter than the dwell', { accepted: `below ${v.dwell} s` }, ['dither']);
  return { low: v.low, high: v.high, cycles: v.cycles, dwell_s: v.dwell, dither_s: v.dither, ...shared(v) };
});
const holdCurrent = object('Holds a current', { target: quantity('current', { about: 'Current', example: '1.4 A', above: '0 A' }), for: duration('How long', '3 s'), ...common })
  .transform((v) => ({ target_A: v.target, for_s: v.for, ...shared(v) }));
const holdPower = object('Holds an electrical power', { target: quantity('power', { about: 'Power', example: '8 W', above: '0 W' }), for: duration('How long', '3 s'), ...common })
  .transform((v) => ({ target_W: v.target, for_s: v.for, ...shared(v) }));
const holdSpeed = object('Holds a speed', { target: quantity('speed', { about: 'Speed', example: '15000 rpm', above: '0 rpm' }), for: duration('How long', '3 s'), ...common })
  .transform((v) => ({ target_rpm: v.target, for_s: v.for, ...shared(v) }));

const reading = (about: string) => noted(z.string().meta({ description: about, examples: ['35 °C'] }), 'a quantity that fits the channel, such as 35 °C').optional();
const waitUntil = object('A held throttle until a channel passes a value, within a bound', {
  throttle: share('Throttle meanwhile', '0 %').prefault('0 %'),
  channel: word('Which channel', PROTOCOL_CHANNELS),
  above: reading('Ends when the channel is above this'),
  below: reading('Ends when the channel is below this'),
  for: quantity('time', { about: 'It must be so for this long', example: '500 ms', min: '0 s', max: '60 s' }).prefault('0 s'),
  within: duration('Bound: it goes on after this anyway', '120 s'),
  ...common,
}).transform((v, ctx) => {
  const key = v.above === undefined ? 'below' : 'above';
  const dimension = DIMENSION_OF[v.channel];
  if ((v.above === undefined) === (v.below === undefined)) complain(ctx, v, 'needs one of above and below', { accepted: 'above: or below:' });
  const parsed = parseQuantity(v[key] ?? '', dimension);
  if (v[key] !== undefined && !parsed.ok) complain(ctx, v[key], `${parsed.message} (the unit of ${COLUMN_OF[v.channel]})`, { accepted: parsed.accepted }, [key]);
  const until: Condition = { channel: v.channel, is: key, value: parsed.ok ? parsed.value : 0, for_s: v.for };
  return { throttle: v.throttle, until, within_s: v.within, ...shared(v) };
});

const parameters = z.record(z.string(), z.unknown()).meta({ description: 'Parameters of that protocol' });
/** `thrust-curve` or `{ response: { low: 10 %, high: 50 % } }`: a protocol by name, with or without parameters. */
export const protocolUse = noted(z.union([
  slug('Name of a protocol', 'thrust-curve').transform((protocol): ProtocolUse => ({ protocol, parameters: {} })),
  noted(
    z.record(z.string(), parameters.nullable()).meta({ description: 'A protocol with parameters', minProperties: 1, maxProperties: 1 }).transform((v, ctx): ProtocolUse => {
      const [entry, ...more] = Object.entries(v);
      if (entry !== undefined && more.length === 0) return { protocol: entry[0], parameters: entry[1] ?? {} };
      complain(ctx, v, entry === undefined ? 'names no protocol' : `names ${1 + more.length} protocols in one entry: give each its own "-"`, { accepted: 'one protocol with its parameters' });
      return z.NEVER;
    }), 'one protocol with its parameters'),
]).meta({ description: 'A protocol, with or without parameters', examples: ['thrust-curve', { response: { low: '10 %', high: '50 %' } }] }), 'a name such as thrust-curve, or { response: { low: 10 % } }');
export interface ProtocolUse {
  readonly protocol: string;
  /** As written; the protocol itself checks them. */
  readonly parameters: Readonly<Record<string, unknown>>;
}

const entry: z.ZodType<ProtocolEntry> = z.lazy(() => oneKey('One segment; its one key says what it is', {
  rest,
  level,
  ramp,
  train,
  'hold-current': holdCurrent,
  'hold-power': holdPower,
  'hold-speed': holdSpeed,
  'wait-until': waitUntil,
  repeat,
  mark: text('A named instant in the record', 'warm now'),
  use: protocolUse,
}).transform((e): ProtocolEntry => {
  if (e.key === 'mark') return { kind: 'mark', label: e.value };
  return { kind: e.key, ...e.value } as ProtocolEntry;
}));
const entries = z.array(entry).min(1).meta({ description: 'Segments, played in order' });
const repeat = object('Plays segments several times', { times: count('How often', 1, 10_000, 3), segments: entries });

const needs = object('What it needs of its bench; what is left out is taken from the segments', {
  propeller: word('Propeller mounted, taken off, or either', ['on', 'off', 'any']).optional(),
  channels: z.array(word('A channel', PROTOCOL_CHANNELS)).meta({ description: 'Channels that must be there' }).optional(),
  sink: flag('It brakes hard: something must take up the energy').optional(),
  supply: quantity('voltage', { about: 'Supply voltage; the nominal voltage of the article when left out', example: '3 V', above: '0 V' }).optional(),
  min_rate: quantity('frequency', { about: 'Slowest row rate that still gives a result', example: '200 Hz', above: '0 Hz' }).optional(),
}).transform((v) => ({ propeller: orNull(v.propeller), channels: orNull(v.channels), sink: orNull(v.sink), supply_V: orNull(v.supply), min_rate_Hz: orNull(v.min_rate) }));

/** protocols/*.yaml */
export const protocolSchema = object('A protocol: what the motor does, segment by segment. Throttle is zero after the last one', {
  ...head('protocol', 'Name of the protocol', 'my-steps'),
  about: text('What it is for', 'Three steps and a rest').optional(),
  needs: needs.prefault({}),
  segments: entries,
}).transform((v) => ({ name: v.protocol, about: orNull(v.about), needs: v.needs, segments: v.segments }));

/** A protocol file; throttles 0..1, times in seconds. */
export type ProtocolFile = Readonly<z.output<typeof protocolSchema>>;
