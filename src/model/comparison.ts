// What `compare --out` writes: the differences of two campaigns. Every number is finite, or null with a reason beside it.
import { z } from 'zod';
import { resultsSchema } from './results';

const { shape: metricShape } = resultsSchema.shape.metrics.element;
const contrast = metricShape.contrasts.element;
const text = (about: string) => z.string().meta({ description: about });
const maybeText = (about: string) => z.string().nullable().meta({ description: `${about}; null when it is not stated` });
const num = (about: string) => z.number().meta({ description: about });
const maybe = (about: string) => z.number().nullable().meta({ description: `${about}; null when there is none` });
const list = <T extends z.ZodType>(of: T, about: string) => z.array(of).meta({ description: about });

const side = z.strictObject({
  campaign: text('Campaign'), day: maybeText('Day of its first run'), rig: maybeText('Rig'), mounting: maybeText('Mounting'),
  runs_used: num('Runs used'), runs_planned: num('Runs planned'), fingerprint: maybeText('Fingerprint of its plan'), version: maybeText('Version that made it'),
});
const value = z.strictObject({
  n: num('Usable repeats'), value: maybe('Mean'), u_repeats: maybe('Standard uncertainty from repeats'), reason: z.string().nullable().meta({ description: 'Why a number is null' }),
}).meta({ description: 'One campaign at one setting' });
const row = z.strictObject({
  setting: z.string().nullable().meta({ description: 'Setting; null: the mean over all settings that both campaigns have' }), a: value, b: value,
  contrast: contrast.meta({ description: 'Second campaign less first, with its verdict: is the second better?' }),
  u_repeats: maybe('Part of u from repeats'), u_calibration: maybe('Part of u from calibration'), u_remount: maybe('Part of u from re-mounting'),
  flags: list(z.string(), 'What limits the interval'),
}).meta({ description: 'A metric at a setting' });
const metric = z.strictObject({
  key: metricShape.key, title: metricShape.title, unit: metricShape.unit, shown: metricShape.shown, better: metricShape.better, of_interest: metricShape.of_interest,
  margin_text: metricShape.margin_text, overall: row.nullable(), rows: list(row, 'Every shared setting'),
});

export const comparisonSchema = z.strictObject({
  spoolbench_comparison: z.literal(1), simulated: z.boolean(), confidence: num('Confidence of intervals'), a: side, b: side,
  differs: list(z.strictObject({ what: text('What differs'), a: maybeText('In the first'), b: maybeText('In the second') }), 'What is known to differ besides the figures'),
  mounting: z.enum(['same', 'other', 'unknown']), calibration: z.enum(['same', 'other']),
  settings: list(z.strictObject({ id: text('Id'), text: text('In words') }), 'Settings that both campaigns have'),
  metrics: list(metric, 'Metrics that both campaigns have'), not_compared: list(z.strictObject({ what: text('What'), reason: text('Why not') }), 'What could not be compared'),
  sentences: list(z.string(), 'In words'), notes: list(z.string(), 'What to bear in mind'),
}).meta({ title: 'Spoolbench comparison', description: 'Differences of two campaigns' });

/** Differences of two campaigns. */
export type Comparison = z.output<typeof comparisonSchema>;
export type ComparedMetric = Comparison['metrics'][number];
export type ComparedRow = ComparedMetric['rows'][number];

/** JSON Schema of a comparison (draft 2020-12). */
export function comparisonJsonSchema(): Readonly<Record<string, unknown>> {
  return { ...z.toJSONSchema(comparisonSchema, { target: 'draft-2020-12' }), $id: 'spoolbench:comparison:1' };
}
