// Running verdicts as text: who leads on each metric so far, and whether that is settled.
import colours from 'picocolors';
import { metricTitle, showMetric } from '../app/figures';
import type { SoFar } from '../app/reporter';
import type { RunningVerdict } from '../app/verdicts';

/** So many settings are named that are not told apart from the leader; of more, the number. */
const NAMED = 3;

/** A heading and one line a metric. */
export function soFarLines({ good, of, verdicts }: SoFar): string[] {
  return [
    colours.bold(`So far, after ${good} of ${of} runs`) + colours.dim(' (not for stopping early; analyze judges at the end)'),
    ...verdicts.map((v) => `  ${verdictText(v)}`),
  ];
}

/** `Power at hover thrust: 44 kHz, 16 deg leads with 21.3 W (3 repeats); not settled against 88 kHz, 16 deg`. */
export function verdictText(v: RunningVerdict): string {
  const leads = `${metricTitle(v.metric)}: ${v.leader} leads with ${showMetric(v.metric, v.value)} (${v.repeats} repeat${v.repeats === 1 ? '' : 's'})`;
  if (v.spread === 'none') return `${leads}; one repeat each tells nothing yet`;
  const shown = [...(v.ahead_of > 0 ? [`better than ${others(v.ahead_of)}`] : []), ...(v.alike > 0 ? [`no difference that matters to ${others(v.alike)}`] : [])].join(', ');
  if (v.settled) return `${leads}; ${colours.green('settled')}: ${shown}`;
  const more = v.open.length - NAMED;
  const against = v.open.slice(0, NAMED).join('; ') + (more > 0 ? `; ${more} more` : '');
  return `${leads}; ${colours.yellow('not settled')} against ${against}${shown === '' ? '' : ` (${shown})`}`;
}

function others(n: number): string {
  return n === 1 ? 'one other' : `${n} others`;
}
