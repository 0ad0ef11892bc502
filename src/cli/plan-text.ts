// A plan as text for a terminal.
import colours from 'picocolors';
import type { FilePlan, PlannedProtocol, TouchedLimit } from '../app/plan-file';
import { formatQuantity } from '../units';
import type { Dimension } from '../units';
import { renderDetect } from './detect-text';
import { duration, simulatedBadge, size, table, wrap } from './text';

export interface PlanTextOptions {
  readonly width: number;
  readonly ascii: boolean;
  /** Every run and every segment instead of the first few. */
  readonly all: boolean;
}

const FEW = 12;
const DIMENSION_OF: Readonly<Record<string, Dimension>> = { A: 'current', V: 'voltage', rpm: 'speed', N: 'force', s: 'time', '1': 'ratio', degC: 'temperature', 'K/s': 'temperature_rate' };

/** Order, time, disk, limits and profiles. */
export function renderPlan(plan: FilePlan, options: PlanTextOptions): string {
  const { estimate } = plan;
  const out: string[] = [
    `${colours.bold(plan.campaign)} on rig ${plan.rig}, article ${plan.article} ${plan.simulated ? simulatedBadge() : ''}`.trimEnd(),
    `${count(estimate.runs, 'run')}: ${count(plan.settings.length, 'setting')} × ${count(plan.protocols.length, 'protocol')}${plan.mountings.length > 1 ? ` × ${count(plan.mountings.length, 'mounting')}` : ''}, ${count(estimate.blocks, 'block')}`,
    ...timeLines(plan),
    `Disk about ${size(estimate.disk_bytes)} of ${size(plan.free_bytes)} free, in ${plan.records}`,
  ];
  out.push(...plan.cautions.map((c) => colours.yellow(c)));
  if (plan.mountings.length > 1) out.push(`Mountings: ${plan.mountings.map((m) => `${m.mounting}: runs ${m.first}–${m.last}`).join(' · ')}${plan.simulated ? '; the simulated rig re-mounts by itself' : ''}`);
  if (plan.blocks.length > 1) out.push(`Blocks: ${plan.blocks.map((b) => `${b.block}: runs ${b.first}${b.last > b.first ? `–${b.last}` : ''}`).slice(0, FEW).join(' · ')}${plan.blocks.length > FEW ? ` · … ${plan.blocks.length - FEW} more` : ''}`);
  for (const stretch of estimate.stretches) {
    const hands = stretch.hands.map((h) => `${h.name.replaceAll('_', ' ')} ${h.to}`).join(', ');
    if (hands !== '') out.push(`Hands before run ${stretch.first}, ${duration(stretch.starts_s)} from the start, for ${duration(stretch.hands_s)}: ${hands}; then alone for ${duration(stretch.alone_s)}.`);
    else if (estimate.hands_s > 0) out.push(`From the start alone for ${duration(stretch.alone_s)}.`);
  }
  const prose = (line: string): string => wrap(line, options.width, '  ');
  out.splice(0, out.length, ...out.map(prose));
  for (const protocol of plan.protocols) out.push('', ...protocolLines(protocol, options));
  out.push('', prose(watchedLine(plan)));
  if (!plan.single) out.push('', ...orderLines(plan, options));
  if (plan.detect !== null) out.push('', renderDetect(plan.detect));
  return `${out.join('\n')}\n`;
}

/** How long it takes, when it is finished, and how cooling is counted in that. */
function timeLines(plan: FilePlan): string[] {
  const { bench_s, hands_s, total_s, runs } = plan.estimate;
  const end = new Date(Date.now() + total_s * 1000);
  const clock = `${String(end.getHours()).padStart(2, '0')}:${String(end.getMinutes()).padStart(2, '0')}`;
  const days = Math.round((new Date(end).setHours(0, 0, 0, 0) - new Date().setHours(0, 0, 0, 0)) / 86_400_000);
  const when = plan.simulated ? 'of bench time; the simulated rig is faster' : `if started now: at ${clock}${days === 0 ? '' : `, ${days} day${days === 1 ? '' : 's'} on`}`;
  const out = [`Finished ${duration(total_s)} after the start (${when}): ${hands_s > 0 ? `bench ${duration(bench_s)}, hands ${duration(hands_s)}` : 'nobody needed in between'}.`];
  if (plan.cooling === null) return out;
  const { measured, bound_s } = plan.cooling;
  if (measured === null) out.push(`Cooling has not been measured here and is not counted: at most ${duration(runs * bound_s)} more, if every wait took its ${duration(bound_s)}. The first runs will tell.`);
  else out.push(`Cooling counted as measured: ${duration(measured.mean_s)} a run, from ${count(measured.runs, 'run')} in ${measured.folder}.`);
  return out;
}

function protocolLines(p: PlannedProtocol, options: PlanTextOptions): string[] {
  const out = [`${colours.bold(p.label)} · ${duration(p.duration_s)} · ${count(p.segments.length, 'segment')} · propeller ${p.propeller}${p.supply_V === null ? '' : ` · supply ${formatQuantity(p.supply_V, 'voltage')}`}`, wrap(p.summary, options.width, '  ')];
  for (const note of p.notes) out.push(wrap(`  ${note}`, options.width, '    '));
  out.push(p.draw(options.width, options.ascii));
  const shown = options.all ? p.segments : p.segments.slice(0, FEW);
  out.push(table(
    ['#', 'from', 'segment', 'takes'],
    shown.map((s) => [String(s.ordinal), `${s.start_s.toFixed(2)} s`, s.segment.label, formatQuantity(s.segment.duration_s, 'time')]),
    ['right', 'right', 'left', 'right'],
  ));
  if (shown.length < p.segments.length) out.push(colours.dim(`  … ${p.segments.length - shown.length} more segments (--all shows them)`));
  const asked = p.limits.filter((l) => l.asks !== null);
  out.push(table(['limit touched', 'asked for', 'limit at', 'because'], asked.map(limitRow), ['left', 'right', 'right', 'left']));
  return out;
}

/** Limits that no plan can foresee: the run shows how near it came. */
function watchedLine(plan: FilePlan): string {
  const watched = new Map(plan.protocols.flatMap((p) => p.limits.filter((l) => l.asks === null).map((l) => [`${l.limit} ${shown(l.bound, l.unit)}`, l.limit])));
  return `Watched while running: ${[...watched.keys()].join(' · ')}.`;
}

function limitRow(l: TouchedLimit): string[] {
  return [l.limit, l.asks === null ? '' : shown(l.asks, l.unit), shown(l.bound, l.unit), l.because];
}

function shown(value: number, unit: string): string {
  if (unit === '1' && value > 1) return String(value);
  const dimension = DIMENSION_OF[unit];
  return dimension === undefined ? `${value} ${unit}` : formatQuantity(value, dimension);
}

function orderLines(plan: FilePlan, options: PlanTextOptions): string[] {
  const text = new Map(plan.settings.map((s) => [s.id, s.text]));
  const runs = options.all ? plan.runs : plan.runs.slice(0, FEW);
  const out = [colours.bold('Order'), table(
    ['run', 'block', 'repeat', 'protocol', 'setting', 'changed before it'],
    runs.map((r) => [String(r.index), String(r.block), String(r.repeat), r.label, text.get(r.setting.id) ?? r.setting.id, r.changes.map((c) => `${c.name.replaceAll('_', ' ')} ${c.to}`).join(', ')]),
    ['right', 'right', 'right', 'left', 'left', 'left'],
  )];
  if (runs.length < plan.runs.length) out.push(colours.dim(`  … ${plan.runs.length - runs.length} more runs (--all shows them)`));
  return out;
}

function count(n: number, what: string): string {
  return `${n} ${what}${n === 1 ? '' : 's'}`;
}
