// Answers of a file, or nobody, in place of the person who applies masses and reads meters.
import { relative, resolve, workingFolder } from '../../host/files';
import { loadFile } from '../../model/load';
import { parseQuantity, type Dimension } from '../../units';
import { readOrRefuse, refuse } from '../bench-folder';
import { BadInput } from '../errors';
import type { Guide } from './calibrate';
import { dimensionOf, type CalibrationStep, type Target } from './plan';

/** Name under which a file of answers gives what a meter showed. */
export const READING = 'reading';

/** Dimension of what is typed in: leads are measured by a voltage. */
export function readingDimension(channel: Target): Dimension {
  return channel === 'lead_resistance' ? 'voltage' : dimensionOf(channel);
}

/** Nobody is there. */
export const NOBODY_CALIBRATES: Guide = {
  lacks: (steps) => steps.map((s) => `${s.id}: ${s.instruction}`),
  apply: () => Promise.resolve('stop'),
};

/**
 * A file of answers: `answers: calibrate-CHANNEL`, one entry `{ change: CHANNEL, to: STEP, checklist: done, answers: { reading: … } }` a step.
 * @throws BadInput with every problem in the file
 */
export function answeredGuide(path: string, channel: Target): Guide {
  const file = loadFile('answers', relative(workingFolder(), resolve(path)), readOrRefuse(path));
  refuse(file.problems);
  const { value } = file;
  const name = `calibrate-${channel.replaceAll('_', '-')}`;
  if (value === null) throw new Error(`${path} was read without a problem and without a value`);
  if (value.name !== name) throw new BadInput([`${file.file}: these are answers for ${value.name}, not for ${name}`]);
  const entryFor = (step: CalibrationStep) => value.hands.find((h) => h.change === channel && h.to.replace(/\s+/g, '') === step.id.replace(/\s+/g, ''));
  const dimension = readingDimension(channel);
  const parsed = (step: CalibrationStep) => parseQuantity(entryFor(step)?.answers[READING] ?? '', dimension);
  return {
    lacks: (steps) => steps.flatMap((s) => {
      if (entryFor(s) === undefined) return [`${s.id}: no entry { change: ${channel}, to: "${s.id}" }`];
      if (s.asks === null) return [];
      const reading = parsed(s);
      return reading.ok ? [] : [`${s.id}: ${READING}: ${reading.message}; accepted: ${reading.accepted}`];
    }),
    apply: (step) => {
      if (step.asks === null) return Promise.resolve(step.target);
      const reading = parsed(step);
      return Promise.resolve(reading.ok ? (reading.value as number) : 'stop');
    },
  };
}
