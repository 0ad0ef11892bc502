// JSON Schemas of the messages that are JSON, written into every record so that it explains itself.
import { OUTCOMES } from '../model/events';
import { BOARD_STATES } from '../model/sample';
import { TRIP_CODES } from '../model/trip';

const number = { type: 'number' } as const;
const integer = { type: 'integer' } as const;
const text = { type: 'string' } as const;
const orNull = (type: string) => ({ type: [type, 'null'] });

const trip = {
  type: 'object',
  properties: {
    code: { enum: [...TRIP_CODES] }, by: { enum: ['controller', 'station'] }, tick_us: number, value: orNull('number'), limit: orNull('number'),
    unit: text, channel: orNull('string'), ordinal: integer, detail: text,
  },
  required: ['code', 'by', 'tick_us', 'detail'],
} as const;

const segment = {
  type: 'object',
  properties: {
    kind: text, duration_s: number, label: text, role: text, throttle: number, to: number, target_A: number, target_W: number,
    target_rpm: number, cap: number, slew_per_s: number, until: { type: 'object' }, tags: { type: 'object', additionalProperties: number },
  },
  required: ['kind', 'duration_s', 'label', 'role'],
} as const;

const health = { type: 'object', properties: { frames: integer, bad_frames: integer, missing_frames: integer, doubled_frames: integer, resent_commands: integer } } as const;

/** Events: `type` says which of the other members are there. */
export const EVENT_SCHEMA = {
  title: 'spoolbench event',
  type: 'object',
  properties: {
    type: { enum: ['segment-started', 'segment-ended', 'ended', 'tripped', 'state', 'desync', 'stopped', 'mark', 'operator'] },
    tick_us: number, ordinal: integer, throttle: number, segment, trip, why: text, how: text, state: { enum: [...BOARD_STATES] },
    duration_us: number, confirmed: { type: 'boolean' }, took_us: number, detail: text, label: text, what: text,
  },
  required: ['type', 'tick_us'],
} as const;

export const LINK_SCHEMA = {
  title: 'spoolbench link health',
  type: 'object',
  properties: { type: { const: 'link' }, tick_us: number, health },
  required: ['type', 'tick_us', 'health'],
} as const;

export const OUTCOME_SCHEMA = {
  title: 'spoolbench outcome',
  type: 'object',
  properties: {
    outcome: { enum: [...OUTCOMES] }, stop_confirmed: { type: 'boolean' }, trip: { anyOf: [trip, { type: 'null' }] }, also: { type: 'array', items: trip },
    segments_played: integer, desyncs: integer, detail: text,
    closest: {
      type: 'array',
      items: { type: 'object', properties: { limit: text, value: orNull('number'), bound: orNull('number'), unit: text, ratio: orNull('number'), tick_us: number } },
    },
  },
  required: ['outcome', 'stop_confirmed', 'detail'],
} as const;
