// Every file format by its kind.
import type { z } from 'zod';
import { answersSchema } from './answers';
import { articleSchema } from './article';
import { calibrationSchema } from './calibration';
import { campaignSchema } from './campaign';
import { craftSchema } from './craft';
import type { FileKind } from './head';
import { protocolSchema } from './protocol';
import { rigSchema } from './rig';

export const SCHEMAS = {
  rig: rigSchema,
  article: articleSchema,
  craft: craftSchema,
  protocol: protocolSchema,
  campaign: campaignSchema,
  calibration: calibrationSchema,
  answers: answersSchema,
} as const satisfies Record<FileKind, z.ZodType>;

/** The SI-typed value of a kind of file. */
export type FileValue<K extends FileKind> = Readonly<z.output<(typeof SCHEMAS)[K]>>;

export { FILE_KINDS, FORMAT_VERSION, type FileKind } from './head';
export type { Answers } from './answers';
export type { Article } from './article';
export type { Calibration } from './calibration';
export type { CampaignFile } from './campaign';
export { levelKey, type Factor, type Point } from './campaign-factors';
export type { Constraint, Margin } from './campaign-choice';
export type { Craft } from './craft';
export type { ProtocolEntry, ProtocolFile, ProtocolUse, SegmentNotes } from './protocol';
export type { Rig, RigLimits, RigLink, Sink, Supply } from './rig';
export { DIMENSION_OF, STEP_DIMENSION_OF, type ChannelSource, type RigChannel } from './rig-channels';
