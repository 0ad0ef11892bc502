// What a protocol asks for against what the rig allows: its needs, and each of its segments.
import { formatQuantity } from '../units';
import type { Article } from './files/article';
import type { ProtocolEntry, ProtocolFile } from './files/protocol';
import type { Rig } from './files/rig';
import { FIRMATA_TICK, firmataAbilities } from './firmata-abilities';
import { Findings } from './findings';
import type { Loaded } from './load';
import type { Path, Problem } from './problem';
import type { ProtocolNeeds, Segment } from './segment';

/** What stands against a segment on a rig; `field` is the key of the segment that it is about. */
export interface SegmentFault {
  readonly field: 'throttle' | 'to' | 'target' | 'for' | 'low' | 'high';
  readonly message: string;
  readonly accepted: string;
  /** The rig's key that forbids it. */
  readonly rigKey: Path;
}

/**
 * What stands against playing a segment on a rig: throttle above the cap, a hold beyond a limit, a segment longer than the
 * longest run.
 * @param high_V highest voltage at the ESC, for the current that a power draws at least
 */
export function segmentFaults(segment: Segment, rig: Rig, high_V: number = rig.supply.voltage_V): SegmentFault[] {
  const faults: SegmentFault[] = [];
  const l = rig.limits;
  const throttle = (field: 'throttle' | 'to', value: number): void => {
    if (value > l.throttle_cap + 1e-9) faults.push({ field, message: `${formatQuantity(value, 'ratio')} is above throttle_cap of the rig`, accepted: `at most ${formatQuantity(l.throttle_cap, 'ratio')}`, rigKey: ['limits', 'throttle_cap'] });
  };
  if (segment.kind === 'level' || segment.kind === 'wait-until') throttle('throttle', segment.throttle);
  if (segment.kind === 'ramp') throttle('to', segment.to);
  const bound = segment.duration_s > currentWindow(rig) ? l.current_mean.above_A : l.current_peak.above_A;
  const which: Path = segment.duration_s > currentWindow(rig) ? ['limits', 'current_mean', 'above'] : ['limits', 'current_peak', 'above'];
  if (segment.kind === 'hold-current' && segment.target_A >= bound) {
    faults.push({ field: 'target', message: `holding ${formatQuantity(segment.target_A, 'current')} would trip ${which.slice(0, 2).join('.')}`, accepted: `below ${formatQuantity(bound, 'current')}`, rigKey: which });
  }
  if (segment.kind === 'hold-power' && segment.target_W / high_V >= bound) {
    faults.push({ field: 'target', message: `${formatQuantity(segment.target_W, 'power')} draws at least ${formatQuantity(segment.target_W / high_V, 'current')} and would trip ${which.slice(0, 2).join('.')}`, accepted: `below ${formatQuantity(bound * high_V, 'power')}`, rigKey: which });
  }
  if (segment.kind === 'hold-speed' && l.speed !== null && segment.target_rpm >= l.speed.above_rpm) {
    faults.push({ field: 'target', message: `holding ${formatQuantity(segment.target_rpm, 'speed')} would trip limits.speed`, accepted: `below ${formatQuantity(l.speed.above_rpm, 'speed')}`, rigKey: ['limits', 'speed', 'above'] });
  }
  if (segment.duration_s > l.longest_run_s) {
    faults.push({ field: 'for', message: `${formatQuantity(segment.duration_s, 'time')} is more than longest_run of the rig`, accepted: `at most ${formatQuantity(l.longest_run_s, 'time')}`, rigKey: ['limits', 'longest_run'] });
  }
  return faults;
}

/** Where a protocol is asked for, so that a complaint can point there. */
export interface AskedAt {
  readonly loaded: Loaded<unknown>;
  readonly path: Path;
}

/** What a bench can change by itself or have changed between runs. */
export interface Changeable {
  readonly propeller: boolean;
  readonly supply: boolean;
}

/**
 * A protocol's needs against the bench. Each problem is shown where the protocol is asked for.
 * @param name of the protocol
 */
export function checkNeeds(name: string, needs: ProtocolNeeds, rigFile: Loaded<Rig>, articleFile: Loaded<Article>, at: AskedAt, can: Changeable): Problem[] {
  const rig = rigFile.usable;
  const article = articleFile.usable;
  if (rig === null || article === null) return [];
  const found = new Findings(at.loaded);
  const say = (message: string, accepted: string, ...rests: (readonly [Loaded<unknown>, Path])[]): void => {
    found.add({ at: at.path, message, accepted }, rests);
  };
  if (needs.propeller !== 'any' && !can.propeller && (needs.propeller === 'on') !== article.propeller.mounted) {
    say(`${name} needs the propeller ${needs.propeller}, ${articleFile.file} declares it ${article.propeller.mounted ? 'on' : 'off'}`,
      `${needs.propeller === 'off' ? 'take it off' : 'mount it'}, then propeller.mounted: ${needs.propeller} in ${articleFile.file}`, [articleFile, ['propeller', 'mounted']]);
  }
  for (const channel of needs.channels) {
    if (!rig.channels.some((c) => c.kind === channel)) say(`${name} needs the channel ${channel}, which ${rigFile.file} does not declare`, `channels.${channel} in ${rigFile.file}`, [rigFile, ['channels', channel]]);
  }
  if (needs.sink && rig.sink.kind === 'none') {
    say(`${name} brakes hard and pumps the bus, ${rigFile.file} declares no sink`, `sink: { kind: battery, holds: 9 V } or another sink in ${rigFile.file}`, [rigFile, ['sink']]);
  }
  if (rig.row_rate_Hz < needs.min_rate_Hz * (1 - 1e-9)) {
    say(`${name} needs ${formatQuantity(needs.min_rate_Hz, 'frequency')} of rows, ${rigFile.file} gives ${formatQuantity(rig.row_rate_Hz, 'frequency')}${whySlow(rig)}`, fastEnough(rig, needs.min_rate_Hz, `row_rate of at least ${formatQuantity(needs.min_rate_Hz, 'frequency')}`), [rigFile, ['row_rate']]);
  }
  const slow = needs.channels.includes('speed') ? rig.channels.find((c) => c.kind === 'speed') : undefined;
  if (slow !== undefined && 1e6 / slow.period_us < needs.min_rate_Hz * (1 - 1e-9)) {
    say(`${name} needs ${formatQuantity(needs.min_rate_Hz, 'frequency')} of fresh speeds, ${rigFile.file} gives ${formatQuantity(1e6 / slow.period_us, 'frequency')}`, fastEnough(rig, needs.min_rate_Hz, `channels.speed.period of at most ${formatQuantity(1 / needs.min_rate_Hz, 'time')}`), [rigFile, ['channels', 'speed', 'period']]);
  }
  supplyProblem(name, needs.supply_V, rig, rigFile, can, say);
  return found.problems;
}

/** Why a rig gives no more rows, where its link is the reason. */
function whySlow(rig: Rig): string {
  const abilities = firmataAbilities(rig);
  if (abilities === null) return '';
  return `; a Firmata board reports ${abilities.reports_Hz.toFixed(0)} times a second and its throttle changes every ${formatQuantity(abilities.pulse_frame_s, 'time')} at most, whatever measures the speed`;
}

/** What would be fast enough: a key of the rig file, or another kind of board where no key can do it. */
function fastEnough(rig: Rig, rate_Hz: number, key: string): string {
  const abilities = firmataAbilities(rig);
  const most_Hz = 1e6 / FIRMATA_TICK.least_us;
  return abilities !== null && rate_Hz > most_Hz ? `a board that speaks our wire (link.kind: serial); a Firmata board gives ${most_Hz.toFixed(0)} Hz at most` : key;
}

type Say = (message: string, accepted: string, ...rests: (readonly [Loaded<unknown>, Path])[]) => void;

function supplyProblem(name: string, asked_V: number | null, rig: Rig, rigFile: Loaded<Rig>, can: Changeable, say: Say): void {
  if (asked_V === null) return;
  const asked = `${name} asks for ${formatQuantity(asked_V, 'voltage')}`;
  const range = rig.supply.range_V;
  if (range !== null && (asked_V < range.from || asked_V > range.to)) {
    say(`${asked}, outside the range of the supply`, `${formatQuantity(range.from, 'voltage')} .. ${formatQuantity(range.to, 'voltage')}`, [rigFile, ['supply', 'range']]);
  } else if (!can.supply && Math.abs(asked_V - rig.supply.voltage_V) > 0.02 * asked_V) {
    say(`${asked}, the supply stands at ${formatQuantity(rig.supply.voltage_V, 'voltage')} and cannot be programmed`, `set the supply by hand, then supply.voltage: ${formatQuantity(asked_V, 'voltage')}`, [rigFile, ['supply', 'voltage']]);
  }
  const low = rig.limits.voltage_low?.below_V ?? 0;
  if (asked_V <= low) say(`${asked}, which trips voltage_low at ${formatQuantity(low, 'voltage')}`, `a lower voltage_low in ${rigFile.file} (supply_sag watches the set voltage)`, [rigFile, ['limits', 'voltage_low', 'below']]);
  const high = rig.limits.voltage_high.above_V;
  if (asked_V >= high) say(`${asked}, which trips voltage_high at ${formatQuantity(high, 'voltage')}`, `a voltage below ${formatQuantity(high, 'voltage')}`, [rigFile, ['limits', 'voltage_high', 'above']]);
}

/** Every segment of a protocol as played (generated), each complaint at the place where the protocol is asked for. */
export function checkSegments(segments: readonly Segment[], rigFile: Loaded<Rig>, at: AskedAt): Problem[] {
  const rig = rigFile.usable;
  if (rig === null) return [];
  const found = new Findings(at.loaded);
  const said = new Set<string>();
  for (const segment of segments) {
    for (const fault of segmentFaults(segment, rig)) {
      const message = `segment "${segment.label}": ${fault.message}`;
      if (said.has(message)) continue;
      said.add(message);
      found.add({ at: at.path, message, accepted: fault.accepted }, [[rigFile, fault.rigKey]]);
    }
  }
  const total_s = segments.reduce((sum, s) => sum + s.duration_s, 0);
  const { longest_run_s } = rig.limits;
  if (total_s > longest_run_s) {
    found.add({
      at: at.path, message: `all segments together take ${formatQuantity(total_s, 'time')}, more than longest_run of the rig`, accepted: `at most ${formatQuantity(longest_run_s, 'time')}`,
    }, [[rigFile, ['limits', 'longest_run']]]);
  }
  return found.problems;
}

/** Every segment of a protocol file, each complaint at the key itself. Protocols that it uses are checked on their own. */
export function checkProtocolFile(file: Loaded<ProtocolFile>, rigFile: Loaded<Rig>): Problem[] {
  const rig = rigFile.usable;
  if (file.usable === null || rig === null) return [];
  const found = new Findings(file);
  const walk = (entries: readonly ProtocolEntry[], base: Path): void => {
    entries.forEach((entry, i) => {
      const path = [...base, i, entry.kind];
      if (entry.kind === 'repeat') {
        walk(entry.segments, [...path, 'segments']);
        return;
      }
      for (const [field, segment] of segmentsOf(entry)) {
        for (const fault of segmentFaults(segment, rig)) found.add({ at: [...path, field(fault.field)], message: fault.message, accepted: fault.accepted }, [[rigFile, fault.rigKey]]);
      }
    });
  };
  walk(file.usable.segments, ['segments']);
  return found.problems;
}

type FieldName = (field: SegmentFault['field']) => string;

/** The entry as segments that the rig's limits can judge, with the key of the file that each fault is about. */
function segmentsOf(entry: ProtocolEntry): readonly (readonly [FieldName, Segment])[] {
  const base = { label: '', role: '' };
  const same: FieldName = (field) => field;
  switch (entry.kind) {
    case 'rest':
      return [[same, { ...base, kind: 'rest', duration_s: entry.for_s }]];
    case 'level':
      return [[same, { ...base, kind: 'level', throttle: entry.throttle, duration_s: entry.for_s }]];
    case 'ramp':
      return [[(field) => (field === 'for' ? 'in' : field), { ...base, kind: 'ramp', to: entry.to, duration_s: entry.in_s }]];
    case 'train':
      return (['low', 'high'] as const).map((key) => [(field) => (field === 'for' ? 'dwell' : key), { ...base, kind: 'level', throttle: entry[key], duration_s: entry.dwell_s }]);
    case 'hold-current':
      return [[same, { ...base, kind: 'hold-current', target_A: entry.target_A, duration_s: entry.for_s }]];
    case 'hold-power':
      return [[same, { ...base, kind: 'hold-power', target_W: entry.target_W, duration_s: entry.for_s }]];
    case 'hold-speed':
      return [[same, { ...base, kind: 'hold-speed', target_rpm: entry.target_rpm, duration_s: entry.for_s }]];
    case 'wait-until':
      return [[(field) => (field === 'for' ? 'within' : field), { ...base, kind: 'wait-until', throttle: entry.throttle, until: entry.until, duration_s: entry.within_s }]];
    case 'repeat':
    case 'mark':
    case 'use':
      return [];
  }
}

/** Longer than this a hold is judged by the mean limit. */
function currentWindow(rig: Rig): number {
  return rig.limits.current_mean.over_s;
}
