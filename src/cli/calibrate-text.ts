// A finished calibration, for people.
import type { Calibrated } from '../app/calibrate/calibrate';
import { dimensionOf, type Target } from '../app/calibrate/plan';
import { formatNumber, formatQuantity, type Dimension } from '../units';
import { simulatedBadge, table } from './text';

export function calibrationSummary(c: Calibrated): string {
  const badge = c.simulated ? `${simulatedBadge()} the reference was played by the simulated rig\n` : '';
  if (c.result === null) return `${badge}${c.channel}: ${c.done} of ${c.steps} steps taken; the same command goes on from there.\n`;
  const { result } = c;
  const dimension = dimensionOf(c.channel);
  const step = stepOf(c.channel);
  const rows = c.points.map((p, i) => [p.id, formatQuantity(result.applied[i], dimension), formatNumber(p.counts, 7), formatQuantity(result.residuals[i], step, { digits: 2 })]);
  const percent = (share: number): string => `${formatNumber(100 * share, 2)} %`;
  const parts = result.parts === null ? '' : ` (fit ${percent(result.parts.fit)}, reference ${percent(result.parts.reference)}, hysteresis ${percent(result.parts.hysteresis)}, creep ${percent(result.parts.creep)})`;
  return [
    `${badge}${table(['point', 'applied', c.channel === 'lead_resistance' ? 'drop, V' : 'counts', 'residual'], rows, ['left', 'right', 'right', 'right'])}`,
    `${lawLine(c)}, holds ${formatQuantity(result.span.from, dimension)} .. ${formatQuantity(result.span.to, dimension)}`,
    `Standard uncertainty: gain ${percent(result.u_gain)}${parts}${result.u_offset > 0 ? `, offset ${formatQuantity(result.u_offset, step, { digits: 2 })}` : ''}, ${freedomText(result.dof)}`,
    ...(result.hysteresis === null ? [] : [`Hysteresis ${formatQuantity(result.hysteresis, step, { digits: 2 })}${result.creep === null ? '' : `, creep ${formatQuantity(result.creep, step, { digits: 2 })}`}`]),
    `Written: ${c.file ?? ''}`,
    '',
  ].join('\n');
}

/** More than this many are as good as no end of them: Student's t is the normal distribution to three digits. */
const MANY_DOF = 1000;

function freedomText(dof: number | null): string {
  if (dof === null) return 'nothing in it a guess';
  return dof > MANY_DOF ? `more than ${MANY_DOF} degrees of freedom` : `${Math.floor(dof)} degrees of freedom`;
}

function lawLine({ channel, result }: Calibrated): string {
  const law = result?.law;
  if (law === undefined) return '';
  if (law.kind === 'factor') return `Factor ${formatNumber(law.factor, 6)} on what the channel shows`;
  if (law.kind === 'constant') return `Leads ${formatQuantity(law.value, 'resistance')}`;
  return `${law.kind === 'linear' ? 'Straight line' : 'Parabola'}: one count is worth ${formatQuantity(law.slope, stepOf(channel), { digits: 6 })}`;
}

function stepOf(channel: Target): Dimension {
  const dimension = dimensionOf(channel);
  return dimension === 'temperature' ? 'temperature_difference' : dimension;
}
