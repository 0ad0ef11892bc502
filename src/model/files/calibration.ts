// calibration/*.yaml: how the counts of one channel become SI, against which reference, how well and until when.
import { z } from 'zod';
import { parseQuantity, parseRange, type Dimension } from '../../units';
import { CHANNEL_KINDS, type ChannelKind } from '../channel';
import { complain, date, noted, object, orNull, plainNumber, quantity, slug, text, word } from '../fields';
import { head } from './head';
import { DIMENSION_OF, STEP_DIMENSION_OF } from './rig-channels';

const TARGETS = [...CHANNEL_KINDS, 'lead_resistance'] as const;
type Target = (typeof TARGETS)[number];

// The unit of these depends on the channel, which is another key: they are read once the channel is known.
const inUnit = (about: string, example: string) => noted(z.string().meta({ description: `${about}, in a unit of the channel`, examples: [example] }), `a quantity of the channel such as ${example}`);

const linear = object('Straight line: offset + slope · (counts − zero)', {
  kind: z.literal('linear'),
  zero: plainNumber('Counts at zero', 8388).prefault(0),
  offset: inUnit('Value at zero counts', '0 N').optional(),
  slope: inUnit('What one count is worth', '0.0005 N'),
});
const quadratic = object('Parabola: offset + slope · x + curve · x² with x = counts − zero', {
  kind: z.literal('quadratic'),
  zero: plainNumber('Counts at zero', 8388).prefault(0),
  offset: inUnit('Value at zero counts', '0 N').optional(),
  slope: inUnit('What one count is worth near zero', '0.0005 N'),
  curve: inUnit('Change of the slope: per count squared', '1e-10 N'),
});
const factor = object('Speed: factor on what the period gives', {
  kind: z.literal('factor'),
  factor: plainNumber('Reference speed over indicated speed', 1.0002),
});
const constant = object('A plain value: the lead resistance', {
  kind: z.literal('constant'),
  value: quantity('resistance', { about: 'The value', example: '8 mohm', min: '0 ohm' }),
});
const LAWS = noted(z.discriminatedUnion('kind', [linear, quadratic, factor, constant]).meta({ description: 'How counts become SI' }), 'kind: linear | quadratic | factor | constant');

const point = object('One point of the calibration', {
  applied: inUnit('What the reference says', '50 gf'),
  counts: plainNumber('Mean counts', 980.6).optional(),
  direction: word('Was the load rising or falling?', ['up', 'down']).prefault('up'),
  residual: inUnit('Applied less what the law gives', '0.0003 N').optional(),
});

const reference = object('What it was compared with', {
  name: text('Instrument or set of masses', 'mass set, class F2'),
  identifier: text('Serial number or certificate', 'simulated').optional(),
  u: quantity('ratio', { about: 'Its standard uncertainty, relative', example: '0.05 %', min: '0 %', max: '20 %' }).prefault('0 %'),
}).transform((v) => ({ name: v.name, identifier: orNull(v.identifier), u: v.u }));

const uncertainty = object('Standard uncertainty of the calibrated channel', {
  gain: quantity('ratio', { about: 'Of the gain, relative', example: '0.3 %', min: '0 %', max: '50 %' }),
  offset: inUnit('Of the offset', '0.002 N').optional(),
  degrees_of_freedom: plainNumber('Effective, of the gain (JCGM 100:2008, G.4); left out when it rests on a certificate', 8).optional(),
});

/** A calibration in SI. `law` is in the channel's column unit per count; speed: factor; lead resistance: ohm. */
export interface Calibration {
  readonly name: string;
  readonly rig: string;
  readonly channel: Target;
  /** Calendar dates as text, e.g. 2026-03-01; they compare as text. */
  readonly date: string;
  readonly expires: string;
  readonly by: string | null;
  readonly reference: { readonly name: string; readonly identifier: string | null; readonly u: number };
  readonly law:
    | { readonly kind: 'linear' | 'quadratic'; readonly zero: number; readonly offset: number; readonly slope: number; readonly curve: number }
    | { readonly kind: 'factor'; readonly factor: number }
    | { readonly kind: 'constant'; readonly value: number };
  readonly points: readonly { readonly applied: number; readonly counts: number | null; readonly direction: 'up' | 'down'; readonly residual: number | null }[];
  readonly u_gain: number;
  readonly u_offset: number;
  readonly degrees_of_freedom: number | null;
  readonly hysteresis: number | null;
  readonly creep: number | null;
  readonly span: { readonly from: number; readonly to: number };
  readonly note: string | null;
}

/** calibration/*.yaml */
export const calibrationSchema = object('A calibration of one channel of one rig', {
  ...head('calibration', 'Name of the calibration', 'thrust-2026-03'),
  rig: slug('Name of the rig that it belongs to', 'scout-stand'),
  channel: word('What was calibrated', TARGETS),
  date: date('When'),
  expires: date('From this day on it counts no more'),
  by: text('Who did it', 'A. Person').optional(),
  reference,
  law: LAWS,
  points: z.array(point).max(1000).meta({ description: 'The points' }).prefault([]),
  uncertainty,
  hysteresis: inUnit('Largest difference between rising and falling', '0.001 N').optional(),
  creep: inUnit('Drift under constant load during the calibration', '0.0005 N').optional(),
  span: noted(z.string().meta({ description: 'Values between which it holds, in a unit of the channel', examples: ['0 N .. 3 N'] }), 'a range of the channel such as 0 N .. 3 N'),
  note: text('Anything else', 'Stand warmed up for an hour').optional(),
}).transform((v, ctx): Calibration => {
  const value = targetDimension(v.channel);
  const step = v.channel === 'lead_resistance' ? 'resistance' : STEP_DIMENSION_OF[v.channel];
  const read = (input: string | undefined, dimension: Dimension, ...path: PropertyKey[]): number | null => {
    if (input === undefined) return null;
    const parsed = parseQuantity(input, dimension);
    if (!parsed.ok) complain(ctx, input, parsed.message, { accepted: parsed.accepted }, path);
    return parsed.ok ? parsed.value : 0;
  };
  const fitting = lawsOf(v.channel);
  if (!fitting.includes(v.law.kind)) complain(ctx, v.law.kind, `a ${v.law.kind} law does not fit ${v.channel}`, { accepted: fitting.join(' | ') }, ['law', 'kind']);
  if (v.expires <= v.date) complain(ctx, v.expires, `expires on ${v.expires}, not after the calibration of ${v.date}`, { accepted: `a date after ${v.date}` }, ['expires']);
  const span = parseRange(v.span, value);
  if (!span.ok) complain(ctx, v.span, span.message, { accepted: span.accepted }, ['span']);
  const law: Calibration['law'] = v.law.kind === 'linear' || v.law.kind === 'quadratic' ? {
    kind: v.law.kind,
    zero: v.law.zero,
    offset: read(v.law.offset, value, 'law', 'offset') ?? 0,
    slope: read(v.law.slope, step, 'law', 'slope') ?? 0,
    curve: v.law.kind === 'quadratic' ? read(v.law.curve, step, 'law', 'curve') ?? 0 : 0,
  } : v.law;
  if ('slope' in law && law.slope === 0) complain(ctx, v.law, 'a slope of zero says nothing', { accepted: 'a slope above or below zero' }, ['law', 'slope']);
  return {
    name: v.calibration, rig: v.rig, channel: v.channel, date: v.date, expires: v.expires, by: orNull(v.by), reference: v.reference, law,
    points: v.points.map((p, i) => ({
      applied: read(p.applied, value, 'points', i, 'applied') ?? 0, counts: orNull(p.counts), direction: p.direction, residual: read(p.residual, step, 'points', i, 'residual'),
    })),
    u_gain: v.uncertainty.gain,
    u_offset: read(v.uncertainty.offset, step, 'uncertainty', 'offset') ?? 0,
    degrees_of_freedom: orNull(v.uncertainty.degrees_of_freedom),
    hysteresis: read(v.hysteresis, step, 'hysteresis'),
    creep: read(v.creep, step, 'creep'),
    span: span.ok ? span.value : { from: 0, to: 0 },
    note: orNull(v.note),
  };
});

function targetDimension(channel: Target): Dimension {
  return channel === 'lead_resistance' ? 'resistance' : DIMENSION_OF[channel];
}
function lawsOf(channel: ChannelKind | 'lead_resistance'): readonly string[] {
  if (channel === 'lead_resistance') return ['constant'];
  return channel === 'speed' ? ['factor'] : ['linear', 'quadratic'];
}
