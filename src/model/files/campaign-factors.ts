// The factors of a campaign: what is varied, over which levels, and who or what changes it.
import { z } from 'zod';
import { count, flag, noted, object, orNull, quantity, setting, text, type Setting } from '../fields';

const levels = z.array(setting('A level')).min(1).max(1000).meta({ description: 'Levels to compare', examples: [['22 kHz', '44 kHz']] });
const program = (about: string, example: string[]) => z.array(z.string().min(1)).min(1).max(100).meta({ description: about, examples: [example] });

const common = {
  levels: noted(levels, 'a list such as [22 kHz, 44 kHz]'),
  hard_to_change: flag('Costly to change: its levels form blocks, everything else is shuffled inside').optional(),
  takes: quantity('time', { about: 'How long one change takes', example: '5 min', min: '0 s' }).optional(),
  specimen: flag('Its levels are different specimens or mountings, not settings').prefault(false),
};
interface CommonIn { levels: Setting[]; hard_to_change?: boolean | undefined; takes?: number | undefined; specimen: boolean }
/** @param hard whether such a factor is hard to change unless the file says otherwise; @param takes_s time of one change */
const shared = (v: CommonIn, hard: boolean, takes_s: number) => ({
  levels: v.levels as readonly Setting[], hard_to_change: v.hard_to_change ?? hard, takes_s: v.takes ?? takes_s, specimen: v.specimen,
});

const byRig = object('The board or the simulated rig takes it as a parameter', { apply: z.literal('rig'), ...common })
  .transform((v) => ({ apply: v.apply, ...shared(v, false, 0) }));

const bySupply = object('A programmable supply sets it: levels are voltages', { apply: z.literal('supply'), ...common })
  .transform((v) => ({ apply: v.apply, ...shared(v, false, 1) }));

const byCommand = object('A program of your own sets it: JSON on its standard input, exit code 0 when done', {
  apply: z.literal('command'),
  ...common,
  command: program('Program and arguments', ['./set-esc.sh']),
  read_back: program('Program that prints the level in force; its answer must match', ['./read-esc.sh']).optional(),
  time_limit: quantity('time', { about: 'Longest time that either may take', example: '10 s', above: '0 s', max: '10 min' }).prefault('10 s'),
}).transform((v) => ({
  apply: v.apply, ...shared(v, false, 2), command: v.command, read_back: orNull(v.read_back) as readonly string[] | null, time_limit_s: v.time_limit,
}));

const byOperator = object('A person changes it', {
  apply: z.literal('operator'),
  ...common,
  checklist: z.array(text('A step', 'Cut the power')).min(1).max(50).meta({ description: 'What the person does, step by step', examples: [['Cut the power', 'Take the propeller off']] }),
  ask: z.array(text('A question', 'Serial number of the motor')).max(20).meta({ description: 'What is asked and kept in the record' }).prefault([]),
}).transform((v) => ({ apply: v.apply, ...shared(v, true, 300), checklist: v.checklist, ask: v.ask }));

const factor = noted(
  z.discriminatedUnion('apply', [byRig, bySupply, byCommand, byOperator]).meta({ description: 'A factor' }), 'apply: rig | supply | command | operator',
);
export type Factor = Readonly<z.output<typeof factor>>;

/** `factors:` */
export const factorsSchema = noted(
  z.record(z.string().regex(/^[a-z][a-z0-9_]{0,63}$/), factor).meta({ description: 'What is varied, by name' }), 'a map from factor to { levels, apply }',
);

/** Factor → level: one combination. */
export const pointSchema = z.record(z.string(), setting('A level of that factor')).meta({ description: 'One combination of levels', examples: [{ switching_frequency: '44 kHz' }] });
export type Point = Readonly<Record<string, Setting>>;

const plan = noted(z.discriminatedUnion('kind', [
  object('Every combination of all levels', { kind: z.literal('full') }),
  object('Only the listed combinations', { kind: z.literal('points'), points: z.array(pointSchema).min(1).max(10_000).meta({ description: 'The combinations' }) }),
  object('Each factor alone, the others at the baseline', { kind: z.literal('one-at-a-time') }),
]).meta({ description: 'Which combinations are run' }), 'kind: full | points | one-at-a-time');

/** `order:` */
export const orderSchema = object('Which combinations, in which order', {
  plan: plan.prefault({ kind: 'full' }),
  seed: count('Seed of the shuffle', 0, 4294967295, 7).prefault(1),
  shuffle: noted(z.enum(['blocks', 'all', 'none']).meta({ description: 'Shuffled inside blocks of what is hard to change, all through, or as listed' }), 'blocks | all | none').prefault('blocks'),
  baseline: pointSchema.optional(),
  baseline_every: count('A run of the baseline after this many runs, to see drift; 0 = none', 0, 10_000, 10).prefault(0),
  mountings: count('In how many mountings everything is run: the article is taken off the stand and put on again between them', 1, 100, 3).prefault(1),
  mounting_takes: quantity('time', { about: 'How long a person needs to take the article off and put it on again', example: '15 min', min: '0 s', max: '24 h' }).prefault('15 min'),
}).transform((v) => ({
  plan: v.plan, seed: v.seed, shuffle: v.shuffle, baseline: orNull<Point>(v.baseline), baseline_every: v.baseline_every, mountings: v.mountings, mounting_takes_s: v.mounting_takes,
}));

/** The same level, however it was written: `22 kHz` and `22000 Hz` are one. */
export function levelKey(level: Setting): string {
  return level.kind === 'quantity' ? `${level.dimension} ${level.value}` : `${level.kind} ${level.text}`;
}
