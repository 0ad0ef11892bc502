// Rows of a record become samples in SI, batch by batch: only those that are new and possible.
import type { RunChannel, Series } from '../analysis/run-data';
import { toSI, type ChannelFact } from '../model/channel';
import { THROTTLE_FULL } from '../model/sample';
import type { BatchColumns } from '../record/batch-reader';
import type { RateGroup } from '../record/layout';
import { LONGEST_COLUMN, NumberColumn, type ColumnMemory } from './number-column';

/** What the batches of a record amount to. */
export interface RunSamples {
  readonly channels: readonly RunChannel[];
  readonly throttle: Series;
  readonly origin_us: number;
  readonly duration_s: number;
  readonly rows: number;
  /** Samples that were averaged into one value; 1 unless the run was very long. */
  readonly block: number;
}

/** Collects samples of all groups of one record. */
export class SampleCollector {
  private readonly groups = new Map<RateGroup, GroupSamples>();

  /**
   * @param longest most samples of a channel that are held as they came
   * @param memory where they are held; new memory unless given
   */
  constructor(groups: readonly RateGroup[], longest = LONGEST_COLUMN, memory?: ColumnMemory) {
    for (const g of groups) this.groups.set(g, new GroupSamples(g, () => new NumberColumn(longest, memory)));
  }

  /** Takes a batch; nothing of it is kept. */
  take(group: RateGroup, batch: BatchColumns): void {
    this.groups.get(group)?.take(batch);
  }

  /** The samples; null when no row was recorded. Call it once. */
  finish(): RunSamples | null {
    const all = [...this.groups.values()];
    const rows = all.find((g) => g.group.is_rows);
    if (rows === undefined || rows.rows === 0) return null;
    const origin_us = rows.first_us;
    const times = all.map((g) => secondsFrom(g.times.values(), origin_us));
    return {
      origin_us, duration_s: (rows.last_us - origin_us) / 1e6, rows: rows.rows, block: Math.max(...all.map((g) => g.times.block)),
      throttle: { t_s: times[all.indexOf(rows)], value: rows.throttle.values() }, channels: all.flatMap((g, i) => g.channelsOf(times[i], origin_us)),
    };
  }
}

/** Microseconds become seconds since the origin, in place. */
function secondsFrom(tick_us: Float64Array, origin_us: number): Float64Array {
  for (let i = 0; i < tick_us.length; i++) tick_us[i] = (tick_us[i] - origin_us) / 1e6;
  return tick_us;
}

/** Adds the first `count` values, each over `divisor`. */
function fill(column: NumberColumn, count: number, values: ArrayLike<number>, divisor = 1): void {
  const room = column.room(count);
  for (let i = 0; i < count; i++) {
    if (room === null) column.push(values[i] / divisor); else room[i] = values[i] / divisor;
  }
}

class GroupSamples {
  readonly times: NumberColumn;
  readonly throttle: NumberColumn;
  rows = 0;
  first_us = 0;
  last_us = 0;
  private readonly channels: ChannelSamples[];

  constructor(readonly group: RateGroup, column: () => NumberColumn) {
    this.times = column();
    this.throttle = column();
    this.channels = group.channels.map((fact) => new ChannelSamples(fact, column()));
  }

  take(batch: BatchColumns): void {
    const { rows, tick_us, throttle } = batch;
    if (rows === 0) return;
    if (this.rows === 0) this.first_us = tick_us[0];
    this.last_us = tick_us[rows - 1];
    // Channels first: one that has shared the row times until now may have to copy them as they were.
    for (let k = 0; k < this.channels.length; k++) this.channels[k].take(batch, batch.counts[k], this.times);
    fill(this.times, rows, tick_us);
    if (throttle !== null) fill(this.throttle, rows, throttle, THROTTLE_FULL);
    this.rows += rows;
  }

  channelsOf(times: Float64Array, origin_us: number): RunChannel[] {
    return this.channels.map((c) => c.channel(times, origin_us));
  }
}

class ChannelSamples {
  /** Own times, once a row had no new or no possible sample; until then the row times are its own. */
  private times: NumberColumn | null = null;
  private impossible = 0;
  private readonly bit: number;

  constructor(private readonly fact: ChannelFact, private readonly value: NumberColumn) {
    this.bit = 1 << fact.id;
  }

  take({ rows, tick_us, fresh, valid }: BatchColumns, counts: Int32Array, rowTimes: NumberColumn): void {
    const { bit, value } = this;
    let good = 0;
    let news = 0;
    for (let i = 0; i < rows; i++) {
      if ((fresh[i] & bit) === 0) continue;
      news++;
      if ((valid[i] & bit) !== 0) good++;
    }
    this.impossible += news - good;
    if (good < rows) this.times ??= rowTimes.copy();
    const { conversion } = this.fact;
    const room = value.room(good);
    if (room === null) {
      for (let i = 0; i < rows; i++) if ((fresh[i] & valid[i] & bit) !== 0) value.push(toSI(conversion, counts[i]));
    } else if (conversion.law === 'linear') {
      // As `toSI`, with the law taken out of the loop.
      const { zero, c0, c1, c2 } = conversion;
      for (let i = 0, at = 0; i < rows; i++) {
        if ((fresh[i] & valid[i] & bit) === 0) continue;
        const x = counts[i] - zero;
        room[at++] = c0 + x * (c1 + x * c2);
      }
    } else {
      for (let i = 0, at = 0; i < rows; i++) if ((fresh[i] & valid[i] & bit) !== 0) room[at++] = toSI(conversion, counts[i]);
    }
    if (this.times === null) return;
    const times = this.times.room(good);
    for (let i = 0, at = 0; i < rows; i++) {
      if ((fresh[i] & valid[i] & bit) === 0) continue;
      if (times === null) this.times.push(tick_us[i]); else times[at++] = tick_us[i];
    }
  }

  channel(rowTimes: Float64Array, origin_us: number): RunChannel {
    const { kind, column, dof_gain, dof_offset, span, u_gain, u_offset, filter_Hz, averaged, placement, period_us } = this.fact;
    const { block } = this.value;
    return {
      kind, column, period_s: (period_us * block) / 1e6, ...(block > 1 ? { block } : {}), u_gain, u_offset, filter_Hz, averaged, placement,
      ...(dof_gain === undefined ? {} : { dof_gain }), ...(dof_offset === undefined ? {} : { dof_offset }), ...(span === undefined ? {} : { span }),
      t_s: this.times === null ? rowTimes : secondsFrom(this.times.values(), origin_us), value: this.value.values(), impossible: this.impossible,
    };
  }
}
