// Which channel of the record holds what: rate groups, topics, numbers of the fields.
import type { ChannelFact } from '../model/channel';
import type { RunHeader } from './header';

/** Channels that deliver at the same rate share a batch. The first group also carries the row itself. */
export interface RateGroup {
  readonly topic: string;
  /** Name of the protobuf message, without its package. */
  readonly message: string;
  /** Rows carry throttle, state and segment. */
  readonly is_rows: boolean;
  readonly period_us: number;
  readonly channels: readonly ChannelFact[];
}

export const TOPIC_EVENTS = '/events';
export const TOPIC_LINK = '/link';
export const TOPIC_OUTCOME = '/outcome';

/** Metadata entries that make up the header are named `spoolbench/<key>`, each with the single member `json`. */
export const METADATA_PREFIX = 'spoolbench/';
/** Metadata entry of a file that `recover` wrote. */
export const METADATA_RECOVERED = 'recovered';
/** Profile named in the MCAP header. */
export const PROFILE = 'spoolbench';

/** Field numbers of a batch. Counts of channel n are field COUNTS + n. */
export const FIELD = { first_tick_us: 1, step_us: 2, throttle: 3, state: 4, ordinal: 5, fresh: 6, valid: 7, COUNTS: 16 } as const;

/** Name of the field with the raw counts of a channel, e.g. `current_counts`. */
export function countsField(channel: ChannelFact): string {
  return `${channel.kind}_counts`;
}

/** Rate groups of a run: rows with every channel as fast as the rows, then one group for each slower period. */
export function rateGroups(header: Pick<RunHeader, 'channels' | 'row_period_us'>): RateGroup[] {
  const fast = header.channels.filter((c) => c.period_us <= header.row_period_us);
  const slow = header.channels.filter((c) => c.period_us > header.row_period_us);
  const periods = [...new Set(slow.map((c) => c.period_us))].sort((a, b) => a - b);
  return [
    { topic: '/rows', message: 'Rows', is_rows: true, period_us: header.row_period_us, channels: fast },
    ...periods.map((period_us) => ({
      topic: `/every_${period_us}us`,
      message: `Every${period_us}us`,
      is_rows: false,
      period_us,
      channels: slow.filter((c) => c.period_us === period_us),
    })),
  ];
}
