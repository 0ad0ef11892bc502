// A plan as text for a terminal.
import colours from 'picocolors';
import type { FilePlan, PlannedProtocol, TouchedLimit } from '../app/plan-file';
import { formatQuantity } from '../units';
import type { Dimension } from '../units';
import { duration, simulatedBadge, size, table } from './text';

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
    `${count(estimate.runs, 'run')}: ${count(plan.settings.length, 'setting')} × ${count(plan.protocols.length, 'protocol')}, ${count(estimate.blocks, 'block')}`,
    `Bench time about ${duration(estimate.bench_s)}${estimate.hands_s > 0 ? `, of which hands ${duration(estimate.hands_s)}` : ', nobody needed in between'}.`,
    `Disk about ${size(estimate.disk_bytes)} of ${size(plan.free_bytes)} free, in ${plan.records}`,
  ];
  for (const stretch of estimate.stretches) {
    if (stretch.hands.length > 0) out.push(`Hands before run ${stretch.first} (${duration(stretch.starts_s)} from the start): ${stretch.hands.map((h) => `${h.name} ${h.to}`).join(', ')}; then alone for ${duration(stretch.alone_s)}.`);
  }
  for (const protocol of plan.protocols) out.push('', ...protocolLines(protocol, options));
  out.push('', watchedLine(plan));
  if (!plan.single) out.push('', ...orderLines(plan, options));
  return `${out.join('\n')}\n`;
}

function protocolLines(p: PlannedProtocol, options: PlanTextOptions): string[] {
  const out = [`${colours.bold(p.label)} · ${duration(p.duration_s)} · ${count(p.segments.length, 'segment')} · propeller ${p.propeller}${p.supply_V === null ? '' : ` · supply ${formatQuantity(p.supply_V, 'voltage')}`}`, p.summary];
  for (const note of p.notes) out.push(`  ${note}`);
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
