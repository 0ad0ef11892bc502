// campaigns/*.yaml: which settings are compared, with which protocols, how often, and what decides.
import { z } from 'zod';
import { count, noted, object, orNull, quantity, text, word } from '../fields';
import { TRIP_CODES } from '../trip';
import { factorsSchema, orderSchema } from './campaign-factors';
import { choiceSchema, marginsSchema, notifySchema } from './campaign-choice';
import { head } from './head';
import { protocolUse } from './protocol';

const within = (about: string) => quantity('time', { about, example: '120 s', above: '0 s', max: '24 h' });
const share = (about: string, example: string) => quantity('ratio', { about, example, min: '0 %', max: '100 %' });

const preWarm = object('A standard pre-warm before the first run and after long pauses', {
  throttle: share('Throttle', '40 %'),
  for: quantity('time', { about: 'How long', example: '20 s', above: '0 s', max: '600 s' }),
  after: quantity('time', { about: 'Again after a pause longer than this', example: '10 min', above: '0 s' }).optional(),
}).transform((v) => ({ throttle: v.throttle, for_s: v.for, after_s: orNull(v.after) }));

const coolUntil = object('Waits until the temperatures are back, within a bound', {
  motor_temperature: quantity('temperature', { about: 'Motor case at most this', example: '35 °C' }).optional(),
  esc_temperature: quantity('temperature', { about: 'ESC at most this', example: '40 °C' }).optional(),
  within: within('Goes on after this anyway, and flags the run'),
}).transform((v) => ({ motor_degC: orNull(v.motor_temperature), esc_degC: orNull(v.esc_temperature), within_s: v.within }));

const startCheck = object('A short repeatable run instead of a temperature: its current must be as at first', {
  throttle: share('Throttle', '30 %'),
  for: quantity('time', { about: 'How long', example: '1 s', above: '0 s', max: '60 s' }),
  within: quantity('ratio', { about: 'How far the current may lie from the first check', example: '2 %', above: '0 %', max: '50 %' }),
}).transform((v) => ({ throttle: v.throttle, for_s: v.for, within: v.within }));

const time = (about: string, example: string) => quantity('time', { about, example, min: '0 s', max: '24 h' }).prefault('0 s');

const betweenRuns = object('What happens between runs', {
  pre_warm: preWarm.optional(),
  cool_until: coolUntil.optional(),
  rest: time('Rest at zero throttle', '2 s'),
  zero: time('Mean of the load cell at rest, before and after each run', '1 s'),
  start_check: startCheck.optional(),
}).transform((v) => ({ pre_warm: orNull(v.pre_warm), cool_until: orNull(v.cool_until), rest_s: v.rest, zero_s: v.zero, start_check: orNull(v.start_check) }));

const codes = (about: string) => z.array(word('A trip code', TRIP_CODES)).meta({ description: about, examples: [['DESYNC_COUNT']] }).prefault([]);
const onTrip = object('What a trip does to the campaign', {
  default: noted(z.literal('stop').meta({ description: 'Any trip that is not listed stops the campaign' }), 'stop').prefault('stop'),
  retry_once: codes('Trips after which the run is tried once more'),
  skip_setting: codes('Trips after which the setting is left out'),
}).transform((v) => ({ default: v.default, retry_once: v.retry_once, skip_setting: v.skip_setting }));

const filePath = (about: string, example: string) => text(`${about}, relative to the bench folder or to this file`, example);

/** campaigns/*.yaml */
export const campaignSchema = object('A campaign: settings to compare, protocols, repeats, and what decides', {
  ...head('campaign', 'Name of the campaign', 'scout-settings'),
  about: text('What it is for', 'Which frequency and advance').optional(),
  rig: filePath('Rig file', 'rig.yaml'),
  article: filePath('Article file', 'article.yaml'),
  factors: factorsSchema.prefault({}),
  protocols: noted(z.array(protocolUse).min(1).max(100).meta({ description: 'Protocols, run in turn at each setting' }), 'a list such as [kv, thrust-curve]'),
  repeats: count('How often each combination is run with each protocol', 1, 1000, 5).prefault(5),
  order: orderSchema.prefault({}),
  between_runs: betweenRuns.prefault({}),
  on_trip: onTrip.prefault({}),
  margins: marginsSchema.prefault({}),
  choice: choiceSchema.optional(),
  notify: notifySchema.optional(),
}).transform((v) => ({
  name: v.campaign,
  about: orNull(v.about),
  rig: v.rig,
  article: v.article,
  factors: v.factors,
  protocols: v.protocols,
  repeats: v.repeats,
  order: v.order,
  between_runs: v.between_runs,
  on_trip: v.on_trip,
  margins: v.margins,
  choice: orNull(v.choice),
  notify: orNull(v.notify),
}));

/** A campaign; times in seconds, shares 0..1, levels as {@link Setting}. */
export type CampaignFile = Readonly<z.output<typeof campaignSchema>>;
