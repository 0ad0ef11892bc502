// What `rig check` found, as a person reads it.
import colours from 'picocolors';
import type { Study } from '../app/rig-check/mountings';
import type { Finding, RigCheck } from '../model/rig-check';
import { formatQuantity } from '../units';
import { simulatedBadge, table, wrap } from './text';

const MARK: Readonly<Record<Finding['verdict'], string>> = { pass: colours.green('ok  '), warn: colours.yellow('look'), fail: colours.red('FAIL'), 'not-checked': colours.dim('  – ') };

const LAYER: Readonly<Record<RigCheck['layers'][number]['layer'], string>> = {
  'station-limit': 'Limit of the station', 'board-limit': 'Limit of the board', deadman: 'Silence of the computer (deadman)', 'stop-input': 'Stop button',
};

/** Findings, the proof, and what they come to. */
export function checkText(check: RigCheck, path: string, width: number): string {
  const lines = check.findings.flatMap((f) => lineOf(f.verdict, f.title, f.found, f.advice, width));
  const layers = check.layers.flatMap((l) => lineOf(l.verdict, `${LAYER[l.layer]} (on ${l.runs_on})`, l.detail, '', width));
  const failed = check.findings.filter((f) => f.verdict === 'fail').length + check.layers.filter((l) => l.verdict === 'fail').length;
  return [
    `${check.simulated ? `${simulatedBadge()} ` : ''}${colours.bold(`Rig ${check.rig_check}`)}`, '', ...lines,
    '', colours.bold('Proof: each layer alone stops the motor'), ...(layers.length === 0 ? ['  not tried'] : layers), '',
    check.proven ? 'Proven: every layer that this rig has stopped the motor alone.' : `Not proven${failed > 0 ? `: ${failed} failed` : ''}. Do not run this rig unattended.`,
    `Kept in ${path}`, '',
  ].join('\n');
}

function lineOf(verdict: Finding['verdict'], title: string, found: string, advice: string, width: number): string[] {
  const first = wrap(`${MARK[verdict]} ${colours.bold(title)}: ${found}`, width, '     ');
  return advice === '' ? [first] : [first, wrap(`     → ${advice}`, width, '       ')];
}

export function studyText(study: Study, path: string | null, width: number): string {
  const share = (v: number): string => formatQuantity(v, 'ratio', { digits: 2 });
  const rows = Object.entries(study.split).map(([quantity, s]) => (s.ok ? [quantity, share(s.within), share(s.between), share(s.at_most)] : [quantity, '–', '–', s.reason]));
  return [
    `${study.simulated ? `${simulatedBadge()} ` : ''}${colours.bold(`Repeatability of ${study.rig}: ${study.mountings} mountings of ${study.runs} runs at ${share(study.throttle)}`)}`, '',
    table(['', 'within', 'between', 'at most'], rows, ['left', 'right', 'right', 'right']), '',
    wrap('Standard deviations, relative. "within": runs of one mounting; "between": what a new mounting adds; "at most": 95 % upper bound of the scatter of mounting means, which few mountings cannot rule out.', width, ''),
    ...(study.remount === null ? [] : ['', 'For the rig file, so that absolute values carry it:', `  ${study.remount}`]),
    ...(path === null ? ['The study was stopped; nothing was kept of it but the records.'] : [`Kept in ${path}`]), '',
  ].join('\n');
}
