// calibration/NAME.yaml as text, and read back before it is written: what is stored is what every later run will load.
import type { Rig } from '../../model/files';
import { STEP_DIMENSION_OF } from '../../model/files/rig-channels';
import { loadFile } from '../../model/load';
import { fileText, type Dimension } from '../../units';
import { dimensionOf, type Target } from './plan';
import type { Evaluated, TakenPoint } from './evaluate';

export interface FileInput {
  readonly name: string;
  readonly rig: Rig;
  readonly channel: Target;
  readonly date: string;
  readonly expires: string;
  readonly by: string | null;
  readonly reference: { readonly name: string; readonly identifier: string | null; readonly u: number };
  readonly points: readonly TakenPoint[];
  readonly result: Evaluated;
  readonly simulated: boolean;
}

/** The file's text. @throws Error when it does not read back, which is a fault of this program */
export function calibrationText(input: FileInput): string {
  const { channel, result, reference, points } = input;
  const value = dimensionOf(channel);
  const step: Dimension = channel === 'lead_resistance' ? 'resistance' : STEP_DIMENSION_OF[channel];
  const inValue = (v: number): string => JSON.stringify(fileText(Number(v.toPrecision(9)), value));
  const inStep = (v: number, digits = 9): string => JSON.stringify(fileText(Number(v.toPrecision(digits)), step));
  const percent = (share: number): string => `${Number((100 * share).toPrecision(3))} %`;
  const lines = [
    ...(input.simulated ? ['# SIMULATED: the reference was played by the simulated rig. Nothing here was measured.'] : []),
    'spoolbench: 1',
    `calibration: ${input.name}`,
    `rig: ${input.rig.name}`,
    `channel: ${channel}`,
    `date: ${JSON.stringify(input.date)}`,
    `expires: ${JSON.stringify(input.expires)}`,
    ...(input.by === null ? [] : [`by: ${JSON.stringify(input.by)}`]),
    `reference: { name: ${JSON.stringify(reference.name)}, ${reference.identifier === null ? '' : `identifier: ${JSON.stringify(reference.identifier)}, `}u: ${percent(reference.u)} }`,
    `law: ${lawText(result.law, inValue, inStep)}`,
    `uncertainty: { ${[`gain: ${percent(result.u_gain)}`, ...(channel === 'speed' || channel === 'lead_resistance' ? [] : [`offset: ${inStep(result.u_offset, 3)}`]), ...dofText(result.dof)].join(', ')} }`,
    ...(result.hysteresis === null ? [] : [`hysteresis: ${inStep(result.hysteresis, 3)}`]),
    ...(result.creep === null ? [] : [`creep: ${inStep(result.creep, 3)}`]),
    `span: ${JSON.stringify(`${fileText(Number(result.span.from.toPrecision(9)), value)} .. ${fileText(Number(result.span.to.toPrecision(9)), value)}`)}`,
    'points:',
    ...points.map((p, i) => `  - { applied: ${inValue(result.applied[i])}, counts: ${Number(p.counts.toPrecision(10))}, direction: ${p.direction}, residual: ${inStep(result.residuals[i], 3)} }`),
    '',
  ];
  const text = lines.join('\n');
  const back = loadFile('calibration', `${input.name}.yaml`, text);
  if (back.value === null) throw new Error(`the calibration file does not read back: ${back.problems.map((p) => `${p.key}: ${p.message}`).join('; ')}\n${text}`);
  return text;
}

function lawText(law: Evaluated['law'], inValue: (v: number) => string, inStep: (v: number) => string): string {
  if (law.kind === 'factor') return `{ kind: factor, factor: ${Number(law.factor.toPrecision(9))} }`;
  if (law.kind === 'constant') return `{ kind: constant, value: ${inValue(law.value)} }`;
  const curve = law.kind === 'quadratic' ? `, curve: ${inStep(law.curve)}` : '';
  return `{ kind: ${law.kind}, zero: ${law.zero}, offset: ${inValue(law.offset)}, slope: ${inStep(law.slope)}${curve} }`;
}

/** More than this is as good as known: Student's t differs from the normal by less than 0.1 %. */
const MOST_DOF = 10_000;

/** Truncated to the next lower integer (JCGM 100:2008, G.4.1). */
function dofText(dof: number | null): string[] {
  return dof === null || dof > MOST_DOF ? [] : [`degrees_of_freedom: ${Math.max(1, Math.floor(dof))}`];
}
