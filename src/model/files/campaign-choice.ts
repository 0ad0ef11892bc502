// What a campaign is to answer: margins that matter, the objective, the constraints, and whom to tell.
import { z } from 'zod';
import { complain, noted, object, orNull, quantity, setting, text, word, type Setting } from '../fields';
import { pointSchema, type Point } from './campaign-factors';

const metricName = (about: string) => noted(z.string().regex(/^[a-zA-Z][a-zA-Z0-9_.-]{0,95}$/).meta({ description: about, examples: ['full_throttle_rpm'] }), 'the name of a metric such as full_throttle_rpm');

/** A difference that matters: relative, or absolute in the metric's unit (no dimension: a plain count). */
export type Margin =
  | { readonly kind: 'relative'; readonly value: number; readonly text: string }
  | { readonly kind: 'absolute'; readonly dimension: Extract<Setting, { kind: 'quantity' }>['dimension'] | null; readonly value: number; readonly text: string };

const marginNote = 'a share such as 1 %, a quantity such as 20 ms, or a count';
const margin = noted(setting('Difference that matters: a share such as 1 %, or a quantity such as 20 ms').transform((s, ctx): Margin => {
  if (s.kind === 'word' || s.value <= 0) {
    complain(ctx, s.text, `"${s.text}" is not a difference above zero`, { accepted: marginNote });
    return z.NEVER;
  }
  if (s.kind === 'number') return { kind: 'absolute', dimension: null, value: s.value, text: s.text };
  if (s.dimension === 'ratio') return { kind: 'relative', value: s.value, text: s.text };
  return { kind: 'absolute', dimension: s.dimension, value: s.value, text: s.text };
}), marginNote);

/** `margins:` */
export const marginsSchema = noted(
  z.record(metricName('A metric'), margin).meta({ description: 'Metric → smallest difference that matters', examples: [{ full_throttle_rpm: '1 %' }] }), 'a map such as full_throttle_rpm: 1 %',
);

const objective = object('What is sought', {
  least: metricName('The metric that should be small').optional(),
  most: metricName('The metric that should be large').optional(),
}).transform((v, ctx): { readonly metric: string; readonly sense: 'least' | 'most' } => {
  const metric = v.least ?? v.most;
  if (metric !== undefined && (v.least === undefined || v.most === undefined)) return { metric, sense: v.least === undefined ? 'most' : 'least' };
  complain(ctx, v, 'needs one of least and most', { accepted: '{ least: hover_power } or { most: full_throttle_thrust }' });
  return z.NEVER;
});

/** What a candidate must meet: within a margin of the baseline, or on one side of a bound. */
export type Constraint =
  | { readonly metric: string; readonly kind: 'within'; readonly margin: Margin }
  | { readonly metric: string; readonly kind: 'at-most' | 'at-least'; readonly bound: Setting };

const constraint = object('What the choice must meet', {
  metric: metricName('Which metric'),
  within: margin.optional(),
  at_most: setting('Not above this, with its whole interval; 0 of something that is counted: none seen').optional(),
  at_least: setting('Not below this, with its whole interval').optional(),
}).transform((v, ctx): Constraint => {
  const given = [v.within, v.at_most, v.at_least].filter((x) => x !== undefined);
  if (given.length === 1) {
    if (v.within !== undefined) return { metric: v.metric, kind: 'within', margin: v.within };
    if (v.at_most !== undefined && v.at_most.kind !== 'word') return { metric: v.metric, kind: 'at-most', bound: v.at_most };
    if (v.at_least !== undefined && v.at_least.kind !== 'word') return { metric: v.metric, kind: 'at-least', bound: v.at_least };
  }
  complain(ctx, v, given.length === 1 ? 'the bound is not a number' : 'needs exactly one of within, at_most, at_least', { accepted: 'within: 20 ms (of the baseline), at_most: 0, or at_least: 27000 rpm' });
  return z.NEVER;
});

/** `choice:` */
export const choiceSchema = object('How the best setting is chosen', {
  objective,
  constraints: z.array(constraint).max(100).meta({ description: 'What the choice must meet' }).prefault([]),
  baseline: pointSchema.optional(),
  craft: text('Craft file, for metrics at hover', 'craft.yaml').optional(),
  estimand: word('What the answer is about: this mounting, or the average over mountings. Left out: over mountings as far as mountings or a repeatability study tell', ['this-mounting', 'over-mountings']).optional(),
  confidence: quantity('ratio', { about: 'Confidence of intervals and verdicts', example: '95 %', min: '50 %', max: '99.9 %' }).prefault('95 %'),
}).transform((v) => ({
  objective: v.objective, constraints: v.constraints, baseline: orNull<Point>(v.baseline), craft: orNull(v.craft), estimand: orNull(v.estimand), confidence: v.confidence,
}));

/** `notify:` */
export const notifySchema = object('A program of yours that is told: a JSON summary on its standard input', {
  command: noted(z.array(z.string().min(1)).min(1).max(100).meta({ description: 'Program and arguments', examples: [['./tell-me.sh']] }), 'a list such as [./tell-me.sh]'),
  on: z.array(word('When', ['finished', 'tripped', 'needs-hands'])).min(1).meta({ description: 'When to tell' }).prefault(['finished', 'tripped', 'needs-hands']),
  time_limit: quantity('time', { about: 'Longest time that it may take', example: '10 s', above: '0 s', max: '10 min' }).prefault('10 s'),
}).transform((v) => ({ command: v.command, on: v.on, time_limit_s: v.time_limit }));
