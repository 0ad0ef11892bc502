// checks/*.json of a bench folder: what `rig check` found, and the proof that each layer stops the motor. Never overwritten.
import { z } from 'zod';

const text = (about: string) => z.string().meta({ description: about });
const maybe = (about: string) => z.number().nullable().meta({ description: `${about}; null when it was not measured` });

export const FINDING_VERDICTS = ['pass', 'warn', 'fail', 'not-checked'] as const;

const finding = z.strictObject({
  id: text('Which check'),
  title: text('What was looked at'),
  verdict: z.enum(FINDING_VERDICTS).meta({ description: 'fail blocks arming where the rig asks for a proof' }),
  found: text('What was measured, in words'),
  advice: text('What to do; empty when nothing'),
  values: z.record(z.string(), z.number().nullable()).meta({ description: 'The numbers, SI' }),
}).meta({ description: 'One finding' });

export const LAYERS = ['station-limit', 'board-limit', 'deadman', 'stop-input'] as const;

const layer = z.strictObject({
  layer: z.enum(LAYERS).meta({ description: 'Which layer was to stop the motor alone' }),
  runs_on: text('Where it runs: layers that share a processor are one'),
  verdict: z.enum(FINDING_VERDICTS).meta({ description: 'pass: it stopped the motor and nothing else did' }),
  to_zero_s: maybe('From the cause to zero throttle, s'),
  to_standstill_s: maybe('From zero throttle to measured standstill, s'),
  detail: text('What happened, in words'),
  record: z.string().nullable().meta({ description: 'Record of the run, from the folder of records' }),
}).meta({ description: 'The proof of one layer' });

export const rigCheckSchema = z.strictObject({
  spoolbench: z.literal(1).meta({ description: 'Version of the file format' }),
  rig_check: text('Name of the rig'),
  at: z.iso.datetime().meta({ description: 'When the check ended' }),
  simulated: z.boolean(),
  version: text('Version of the program'),
  rig_sha256: text('Digest of everything that the stopping layers depend on: link, throttle, channels, limits, cut-off'),
  records: text('Folder of the records that the findings rest on'),
  findings: z.array(finding),
  layers: z.array(layer),
  proven: z.boolean().meta({ description: 'Every layer that this rig has was tried alone and stopped the motor' }),
}).meta({ description: 'What rig check found' });

export type RigCheck = Readonly<z.output<typeof rigCheckSchema>>;
export type Finding = RigCheck['findings'][number];
export type LayerProof = RigCheck['layers'][number];
export type Layer = LayerProof['layer'];
