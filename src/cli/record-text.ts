// A record's summary as text for a terminal.
import colours from 'picocolors';
import type { RecordSummary } from '../app/records';
import type { BenchEvent } from '../model/events';
import type { ClosestApproach } from '../model/trip';
import { formatNumber } from '../units';
import { duration, healthText, simulatedBadge, table } from './text';

const FEW = 10;

/** What it is, how it ended, channels, segments, events, closest approach. */
export function renderRecord(path: string, s: RecordSummary, all: boolean): string {
  const out = [path];
  if (s.about !== null) out.push(...aboutLines(s.about));
  out.push(`${statusLine(s)}`, `SHA-256 ${s.sha256}`, '');
  out.push(`${duration(s.duration_s)}, ${s.rows} rows${s.row_rate_Hz === null ? '' : ` at ${formatNumber(s.row_rate_Hz)} Hz`}, highest throttle ${s.throttle_max_frac === null ? 'none' : `${formatNumber(100 * s.throttle_max_frac)} %`}`);
  out.push(channelTable(s), '', segmentTable(s, all), '', ...eventLines(s, all));
  if (s.closest.length > 0) out.push('', closestTable(s.closest, s));
  if (s.attachments.length > 0) out.push('', `Files inside: ${s.attachments.map((a) => a.name).join(', ')}`);
  return `${out.join('\n')}\n`;
}

function aboutLines(about: NonNullable<RecordSummary['about']>): string[] {
  const pairs = (o: Readonly<Record<string, unknown>>): string => Object.entries(o).map(([k, v]) => `${k} ${plain(v)}`).join(', ');
  return [
    `${colours.bold(about.protocol)} on rig ${about.rig ?? 'unnamed'}, article ${about.article ?? 'unnamed'} ${about.simulated ? simulatedBadge() : ''}`.trimEnd(),
    `Settings: ${pairs(about.settings) || 'as the article says'}`,
    `Parameters: ${pairs(about.parameters) || 'none'}`,
    `Made by spoolbench ${about.versions.spoolbench}, wire ${about.versions.wire}, controller ${about.versions.controller}${about.seed === null ? '' : `, seed ${about.seed}`}`,
  ];
}

function plain(value: unknown): string {
  if (typeof value === 'object' && value !== null && 'text' in value) return String(value.text);
  return typeof value === 'string' || typeof value === 'number' ? String(value) : JSON.stringify(value);
}

function statusLine(s: RecordSummary): string {
  const ending = s.outcome === null ? '' : `Outcome: ${colours.bold(s.outcome.outcome)}. ${s.outcome.detail}`;
  if (s.end.status === 'complete') return ending;
  return `${colours.red(s.end.status === 'damaged' ? 'DAMAGED' : 'CUT OFF')}: ${s.end.detail}${ending === '' ? '' : `\n${ending}`}`;
}

function channelTable(s: RecordSummary): string {
  const number = (v: number | null): string => (v === null ? '' : formatNumber(v));
  return table(
    ['channel', 'fresh', 'impossible', 'rate', 'least', 'mean', 'most', 'placement'],
    s.channels.map((c) => [c.column, String(c.fresh), String(c.invalid), c.rate_Hz === null ? '' : `${formatNumber(c.rate_Hz)} Hz`, number(c.min), number(c.mean), number(c.max), c.fact.placement ?? '']),
    ['left', 'right', 'right', 'right', 'right', 'right', 'right', 'left'],
  );
}

function segmentTable(s: RecordSummary, all: boolean): string {
  const shown = all ? s.segments : s.segments.slice(0, FEW);
  const rows = shown.map((g) => [String(g.ordinal), `${g.start_s.toFixed(3)} s`, g.label, g.role, g.duration_s === null ? '' : `${formatNumber(g.duration_s)} s`, g.ended ?? 'record ends']);
  const more = s.segments.length - shown.length;
  return `${table(['#', 'from', 'segment', 'role', 'took', 'ended by'], rows, ['right', 'right', 'left', 'left', 'right', 'left'])}${more > 0 ? colours.dim(`\n  … ${more} more segments (--all shows them)`) : ''}`;
}

function eventLines(s: RecordSummary, all: boolean): string[] {
  const counts = Object.entries(s.event_counts).map(([type, n]) => `${n} × ${type}`).join(', ');
  const shown = all ? s.notable : s.notable.slice(0, FEW);
  const more = s.notable.length - shown.length;
  return [`Events: ${counts || 'none'}`, ...shown.map((e) => `  ${sinceFirst(e.tick_us, s)}  ${eventText(e)}`), ...(more > 0 ? [colours.dim(`  … ${more} more`)] : [])];
}

/** Device time as everything else in a summary: from the first row. */
function sinceFirst(tick_us: number, { first_tick_us }: Pick<RecordSummary, 'first_tick_us'>): string {
  return `${((tick_us - (first_tick_us ?? 0)) / 1e6).toFixed(3)} s`;
}

/** One event in words. */
export function eventText(e: BenchEvent): string {
  switch (e.type) {
    case 'segment-started': return `segment ${e.ordinal} "${e.segment.label}" begins`;
    case 'segment-ended': return `segment ${e.ordinal} ends (${e.why})`;
    case 'ended': return `queue ${e.how} after segment ${e.ordinal}`;
    case 'tripped': return colours.red(tripText(e.trip.code, e.trip.detail, e.trip.by));
    case 'state': return `board ${e.state}`;
    case 'desync': return `desync for ${formatNumber(e.duration_us / 1000)} ms in segment ${e.ordinal}`;
    case 'stopped': return e.confirmed ? e.detail : `${colours.red('STOP NOT CONFIRMED')}: ${e.detail}`;
    case 'mark': return `mark "${e.label}"`;
    case 'operator': return `operator: ${e.what}`;
    case 'link': return `link: ${e.health.frames} frames, ${healthText(e.health)}`;
  }
}

/** `Trip CURRENT_PEAK (found by the controller): …`. */
export function tripText(code: string, detail: string, by: string): string {
  return `Trip ${code} (found by the ${by}): ${detail}`;
}

/** Every limit with its closest approach, nearest first. */
export function closestTable(closest: readonly ClosestApproach[], s: Pick<RecordSummary, 'first_tick_us'>): string {
  const rows = [...closest].sort((a, b) => b.ratio - a.ratio)
    .map((c) => [c.limit, `${formatNumber(c.value)} ${unitOf(c.unit)}`, `${formatNumber(c.bound)} ${unitOf(c.unit)}`, `${formatNumber(100 * c.ratio, 3)} %`, sinceFirst(c.tick_us, s)]);
  return table(['closest approach to', 'reached', 'limit', 'share', 'at'], rows, ['left', 'right', 'right', 'right', 'right']);
}

function unitOf(unit: string): string {
  return unit === '1' ? '' : unit === 'degC' ? '°C' : unit;
}
