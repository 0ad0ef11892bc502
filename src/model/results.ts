// results.json: what `analyze` writes. Every number is finite, or null with a reason beside it.
import { z } from 'zod';

const text = (about: string) => z.string().meta({ description: about });
const num = (about: string) => z.number().meta({ description: about });
const maybe = (about: string) => z.number().nullable().meta({ description: `${about}; null when there is none, see the reason` });
const list = <T extends z.ZodType>(of: T, about: string) => z.array(of).meta({ description: about });
const why = z.string().nullable().meta({ description: 'Why a number beside it is null; null when none is' });

const interval = z.strictObject({
  confidence: num('Confidence, 0..1'), lower: maybe('Lower end'), upper: maybe('Upper end'), reason: why,
}).meta({ description: 'An interval, or the reason why there is none' });

const estimate = z.strictObject({
  value: maybe('Best value'), unit: text('Unit of value and u'), u: maybe('Combined standard uncertainty'), dof: maybe('Effective degrees of freedom; null with u present: unlimited'),
  method: text('How it was obtained'), estimand: text('What it is an estimate of'), flags: list(z.string(), 'What limits it'), reason: why, interval,
}).meta({ description: 'A value with its uncertainty' });

const settingValue = z.strictObject({
  setting: text('Id of the setting'), n: num('Usable repeats'), sd: maybe('Standard deviation of the repeats'), estimate,
  type_a: maybe('Standard uncertainty from repeats'), type_b: maybe('Standard uncertainty from calibration'), remount: maybe('Standard uncertainty from re-mounting'),
  values: list(z.strictObject({ run: text('Id of the run'), value: num('Value'), used: num('Value with drift removed') }), 'Every repeat'),
}).meta({ description: 'A metric at a setting' });

export const VERDICTS = ['better', 'worse', 'same', 'different', 'open', 'none'] as const;
const contrast = z.strictObject({
  setting: text('The setting'), against: text('What it is compared with'), difference: maybe('Setting less baseline'), relative: maybe('Difference over the baseline'),
  u: maybe('Standard uncertainty of the difference'), dof: maybe('Its degrees of freedom'), interval, p: maybe('p value, simultaneous over settings'),
  p_metrics: maybe('p value after Holm over the metrics of interest'), method: text('Method'), margin: maybe('Difference that matters, in the unit'), p_equivalence: maybe('p value of equivalence'),
  verdict: z.enum(VERDICTS).meta({ description: 'better, worse, same (within the margin), different (no direction is better), open (not settled), none' }),
  text: text('The verdict in words'), more_repeats: maybe('Further repeats a setting that would settle it'), reason: why,
}).meta({ description: 'A difference of two settings with its verdict' });

const pair = z.strictObject({ a: text('Setting'), b: text('Setting'), difference: maybe('b less a'), interval, apart: z.boolean().meta({ description: 'The interval excludes zero' }) });
const effect = z.strictObject({ dof: num('Degrees of freedom'), mean_square: num('Mean square'), f: maybe('F'), p: maybe('p value') });
const levelMean = z.strictObject({ factor: text('Factor'), level: text('Level'), mean: num('Mean over the other factor'), n: num('Values') });
const factorial = z.strictObject({
  factors: list(z.string(), 'The crossed factors'), main: list(z.strictObject({ factor: text('Factor'), effect }), 'Main effects'), interaction: effect.nullable(),
  interactions: list(z.strictObject({ factors: list(z.string(), 'The two factors'), effect }), 'With more than two factors: the interaction of every pair').optional(),
  error: z.strictObject({ dof: num('Degrees of freedom'), mean_square: num('Mean square') }).nullable(), levels: list(levelMean, 'Level means'), reason: why,
});
const drift = z.strictObject({
  runs: num('Baseline runs'), end_to_end: maybe('Drift from the first to the last'), interval: interval.nullable(), p: maybe('p value of no drift'), removed: z.boolean(), reason: why,
  points: list(z.strictObject({ index: num('Place in the order'), value: num('Value') }), 'The baseline runs'),
});

const metric = z.strictObject({
  key: text('Name, with the protocol label in front where two protocols give it'), name: text('Name'), title: text('Heading'), unit: text('Unit'), shown: text('Dimension for people, or count'),
  better: z.enum(['more', 'less', 'none']), definition: text('Definition'), label: text('Protocol label that gave it'), of_interest: z.boolean().meta({ description: 'Named by margins or choice: its verdicts are protected over metrics' }),
  margin: maybe('Difference that matters, in the unit'), margin_text: z.string().nullable(), settings: list(settingValue, 'Per setting'), pooling: text('Whether spreads are pooled, and why'),
  contrasts: list(contrast, 'Against the baseline'), pairs: list(pair, 'All pairs, simultaneous; only for metrics of interest'), factorial: factorial.nullable(), drift, notes: list(z.string(), 'Remarks'),
}).meta({ description: 'One metric over all settings' });

const band = z.strictObject({ mean: list(maybe('Mean'), 'Means'), u: list(maybe('Standard uncertainty from repeats'), 'Standard uncertainties') });
const curve = z.strictObject({
  setting: text('Setting'), label: text('Protocol label'), source: z.enum(['sweep', 'staircase']), runs: num('Runs'), throttle: list(z.number(), 'Throttle, 0..1'),
  thrust_N: band.nullable(), speed_rpm: band.nullable(), current_A: band.nullable(), power_W: band.nullable(), efficacy_N_per_W: band.nullable(),
});
const step = z.strictObject({ setting: text('Setting'), label: text('Protocol label'), direction: z.enum(['rise', 'fall']), runs: num('Runs'), t_s: list(z.number(), 'Time after the command'), fraction: list(z.number(), 'Part of the step') });

const constraintCheck = z.strictObject({ metric: text('Metric'), text: text('What is asked'), status: z.enum(['met', 'failed', 'open', 'none']), detail: text('What was found') });
const candidate = z.strictObject({ setting: text('Setting'), eligible: z.boolean(), objective: maybe('Value of the objective'), constraints: list(constraintCheck, 'Each constraint'), reason: z.string().nullable().meta({ description: 'Why the objective cannot be judged; null when it can' }) });
const choice = z.strictObject({
  objective: text('What is sought'), chosen: z.string().nullable(), best: z.string().nullable().meta({ description: 'The best value, where the knee rule chose another' }), reason: why, sentences: list(z.string(), 'The answer'),
  gain: contrast.nullable(), price: list(z.strictObject({ key: text('Metric'), contrast }), 'What changes elsewhere'), runners_up: list(z.string(), 'Settings that cannot be told from the chosen one'),
  candidates: list(candidate, 'Every setting'), checklist: list(z.strictObject({ what: text('What to do'), why: text('Why') }), 'Setup to apply'),
});

const match = z.strictObject({
  from: text('Old setting'), to: text('New setting'), direction: text('Which way it maps'), quantity: text('What is made equal'), expo: maybe('e of y = (1−e)x + e·x³'), expo_limited: z.boolean(), rms_error: maybe('Left in throttle, rms'),
  worst_error: maybe('Left in the response behind the expo, largest'), worst_uncompensated: maybe('Difference of the response without any compensation'),
  rows: list(z.strictObject({ old: num('Old throttle'), response: num('Response'), new: maybe('New throttle'), error: maybe('Left behind the expo'), reason: why }), 'Table'), reason: why,
});
const flight = z.strictObject({
  craft: text('Craft'), setting: text('Setting'), hover_throttle: estimate, hover_power_W: estimate.meta({ description: 'Of the whole craft' }), endurance_min: estimate, thrust_margin: estimate, sentences: list(z.string(), 'In words'),
});

const run = z.strictObject({
  id: text('Id'), index: num('Place in the order'), label: text('Protocol label'), setting: text('Setting'), repeat: num('Repeat'), mounting: num('Mounting'), block: num('Block'), kind: z.enum(['cell', 'baseline']),
  status: z.enum(['used', 'left-out', 'missing']), reason: why, file: z.string().nullable(), sha256: z.string().nullable(), desyncs: maybe('Desyncs seen'), flags: list(z.string(), 'Flags'),
});
const foreign = z.strictObject({ file: text('File'), reason: text('Why it is left out') });
const closest = z.strictObject({ limit: text('Limit'), ratio: num('1 is the limit itself'), value: num('Value'), bound: num('Bound'), unit: text('Unit'), run: text('Run') });

export const resultsSchema = z.strictObject({
  spoolbench_results: z.literal(1), campaign: text('Campaign'), simulated: z.boolean(), confidence: num('Confidence of intervals'), estimand: text('What absolute values are about'),
  baseline: z.string().nullable(), provenance: z.record(z.string(), z.union([z.string(), z.number(), z.null()])).meta({ description: 'Versions, seed, rig, article, fingerprint' }),
  factors: list(z.strictObject({ name: text('Factor'), levels: list(z.string(), 'Levels') }), 'Factors'),
  settings: list(z.strictObject({ id: text('Id'), text: text('In words'), levels: z.record(z.string(), z.string()), desyncs: num('Desyncs in all runs'), runs: num('Usable runs') }), 'Settings'),
  answer: list(z.string(), 'The answer in a few sentences'), metrics: list(metric, 'Metrics'), curves: list(curve, 'Curves over throttle'), steps: list(step, 'Mean steps'),
  choice: choice.nullable(), match: match.nullable(), flight: list(flight, 'In the air'), closest: list(closest, 'Nearest approach to each limit'),
  runs: list(run, 'Every planned run'), foreign: list(foreign, 'Records that belong to no planned run'), notes: list(z.string(), 'Remarks'),
}).meta({ title: 'Spoolbench results', description: 'Results of a campaign' });

/** The content of results.json. */
export type Results = z.output<typeof resultsSchema>;
export type ResultMetric = Results['metrics'][number];
export type SettingValue = ResultMetric['settings'][number];
export type ResultEstimate = SettingValue['estimate'];
export type Contrast = ResultMetric['contrasts'][number];
export type ResultDrift = ResultMetric['drift'];
export type ResultCurve = Results['curves'][number];
export type ResultStep = Results['steps'][number];
export type ResultChoice = NonNullable<Results['choice']>;
export type ResultMatch = NonNullable<Results['match']>;
export type ResultFlight = Results['flight'][number];
export type ResultRun = Results['runs'][number];

/** JSON Schema of results.json (draft 2020-12). */
export function resultsJsonSchema(): Readonly<Record<string, unknown>> {
  return { ...z.toJSONSchema(resultsSchema, { target: 'draft-2020-12' }), $id: 'spoolbench:results:1' };
}
