// What a person wants to know about a record first. Data only; the text is made by whoever prints it.
import type { BenchEvent, RunOutcome } from '../model/events';
import type { ChannelFact } from '../model/channel';
import type { ClosestApproach } from '../model/trip';
import type { JsonObject } from './header';
import type { RecordEnd, RunRecord } from './reader';
import { timelineOf, type TimelineColumn } from './timeline';

export interface ChannelSummary {
  readonly column: string;
  readonly fact: ChannelFact;
  /** Fresh samples, and those of them that were impossible. */
  readonly fresh: number;
  readonly invalid: number;
  /** Fresh samples a second over the whole run; null when there are fewer than two. */
  readonly rate_Hz: number | null;
  /** Over fresh, possible samples, in the column's unit; null when there are none. */
  readonly min: number | null;
  readonly mean: number | null;
  readonly max: number | null;
}

export interface SegmentSummary {
  readonly ordinal: number;
  readonly label: string;
  readonly role: string;
  readonly start_s: number;
  /** Null when the record ends inside it. */
  readonly duration_s: number | null;
  readonly ended: string | null;
}

export interface RecordSummary {
  /** Null when the file was cut before its header was complete; then only `end` and `sha256` say something. */
  readonly about: {
    readonly record_id: string;
    readonly simulated: boolean;
    readonly protocol: string;
    readonly parameters: JsonObject;
    readonly settings: JsonObject;
    readonly supply: JsonObject | null;
    readonly rig: string | null;
    readonly article: string | null;
    readonly seed: number | null;
    readonly versions: { readonly spoolbench: string; readonly wire: number; readonly controller: string };
    /** Microseconds since 1970 of the first row: the header's epoch plus device time. Meaningless for a fixed epoch. */
    readonly first_row_us: number | null;
  } | null;
  readonly end: RecordEnd;
  readonly sha256: string;
  readonly outcome: RunOutcome | null;
  readonly rows: number;
  /** Device time of the first row, µs: times in seconds count from here. */
  readonly first_tick_us: number | null;
  readonly duration_s: number;
  readonly row_rate_Hz: number | null;
  readonly throttle_max_frac: number | null;
  readonly channels: readonly ChannelSummary[];
  readonly segments: readonly SegmentSummary[];
  /** How many events of each type. */
  readonly event_counts: Readonly<Record<string, number>>;
  /** Events other than segments and link health, in order. */
  readonly notable: readonly BenchEvent[];
  readonly closest: readonly ClosestApproach[];
  readonly attachments: readonly { readonly name: string; readonly bytes: number }[];
}

/** Summarizes a record, whole or cut off. */
export function summarize(record: RunRecord, sha256: string): RecordSummary {
  const { header, outcome, end, events } = record;
  const line = timelineOf(record);
  const rows = line?.rows ?? 0;
  const first_us = line !== null && rows > 0 ? line.tick_us[0] : null;
  const duration_s = line !== null && rows > 0 ? line.t_s[rows - 1] : 0;
  const counts: Record<string, number> = {};
  for (const e of events) counts[e.type] = (counts[e.type] ?? 0) + 1;
  return {
    about: header === null ? null : {
      record_id: header.record_id, simulated: header.simulated, protocol: header.protocol.name, parameters: header.protocol.parameters, settings: header.settings,
      supply: header.supply, rig: nameIn(header.rig, 'name'), article: nameIn(header.article, 'name'), seed: header.seed, versions: header.versions,
      first_row_us: first_us === null ? null : header.epoch_us + first_us,
    },
    end, sha256, outcome, rows, first_tick_us: first_us, duration_s,
    row_rate_Hz: duration_s > 0 ? (rows - 1) / duration_s : null,
    throttle_max_frac: line !== null && rows > 0 ? line.throttle_frac.reduce((a, b) => Math.max(a, b), 0) : null,
    channels: line === null ? [] : [...line.columns.values()].map((c) => summarizeChannel(c, duration_s)),
    segments: segmentsOf(events, first_us ?? 0),
    event_counts: counts,
    notable: events.filter((e) => e.type !== 'segment-started' && e.type !== 'segment-ended' && e.type !== 'link'),
    closest: outcome?.closest ?? [],
    attachments: record.attachments.map((a) => ({ name: a.name, bytes: a.data.length })),
  };
}

function summarizeChannel({ fact, si, fresh, valid }: TimelineColumn, duration_s: number): ChannelSummary {
  let n = 0;
  let possible = 0;
  let sum = 0;
  let min = Infinity;
  let max = -Infinity;
  for (let i = 0; i < si.length; i++) {
    if (fresh[i] === 0) continue;
    n++;
    if (valid[i] === 0) continue;
    possible++;
    sum += si[i];
    if (si[i] < min) min = si[i];
    if (si[i] > max) max = si[i];
  }
  const some = possible > 0;
  return {
    column: fact.column, fact, fresh: n, invalid: n - possible, rate_Hz: n > 1 && duration_s > 0 ? (n - 1) / duration_s : null,
    min: some ? min : null, mean: some ? sum / possible : null, max: some ? max : null,
  };
}

function segmentsOf(events: readonly BenchEvent[], first_us: number): SegmentSummary[] {
  const ends = new Map<number, Extract<BenchEvent, { type: 'segment-ended' }>>();
  for (const e of events) if (e.type === 'segment-ended') ends.set(e.ordinal, e);
  return events.flatMap((e): SegmentSummary[] => {
    if (e.type !== 'segment-started') return [];
    const end = ends.get(e.ordinal);
    return [{
      ordinal: e.ordinal, label: e.segment.label, role: e.segment.role, start_s: (e.tick_us - first_us) / 1e6,
      duration_s: end === undefined ? null : (end.tick_us - e.tick_us) / 1e6, ended: end?.why ?? null,
    }];
  });
}

function nameIn(object: JsonObject, key: string): string | null {
  const name = object[key];
  return typeof name === 'string' ? name : null;
}
