// From rate groups back to rows: every channel's latest count in every row, and its value in SI.
import { toSI, type ChannelFact } from '../model/channel';
import { BOARD_STATES, THROTTLE_FULL, type BoardState, type SampleBlock } from '../model/sample';
import type { GroupBatch } from './batch';
import type { RunHeader } from './header';
import { rateGroups, type RateGroup } from './layout';
import type { RunRecord } from './reader';

/** A batch of a slow group whose rows have not all been met yet. */
interface Waiting {
  readonly batch: GroupBatch;
  next: number;
}

/**
 * Puts slow channels back into the rows. Feed it batches in file order; for each batch of rows it returns the rows exactly as
 * they were logged.
 */
export class RowMerger {
  readonly #held: Int32Array;
  readonly #waiting = new Map<string, Waiting[]>();
  readonly #slow: readonly RateGroup[];

  constructor(private readonly header: RunHeader) {
    this.#held = new Int32Array(header.channels.length);
    this.#slow = rateGroups(header).filter((g) => !g.is_rows);
  }

  take(group: RateGroup, batch: GroupBatch): SampleBlock | null {
    if (!group.is_rows) {
      this.#queueOf(group).push({ batch, next: 0 });
      return null;
    }
    const { rows, tick_us, throttle, state, ordinal, fresh, valid } = batch;
    if (throttle === null || state === null || ordinal === null) throw new Error(`record: ${group.topic} lacks columns of a row`);
    const counts: Int32Array[] = [];
    group.channels.forEach((c, i) => { counts[c.id] = batch.counts[i]; });
    for (const c of this.header.channels) counts[c.id] ??= new Int32Array(rows);
    for (const slow of this.#slow) this.#hold(slow, this.#queueOf(slow), tick_us, counts);
    return { rows, tick_us, throttle, state, ordinal, fresh, valid, counts };
  }

  #queueOf(group: RateGroup): Waiting[] {
    const queue = this.#waiting.get(group.topic) ?? [];
    this.#waiting.set(group.topic, queue);
    return queue;
  }

  /** Replaces the held counts from the row on in which a newer one arrived. */
  #hold(group: RateGroup, queue: Waiting[], tick_us: Float64Array, counts: readonly Int32Array[]): void {
    let row = 0;
    const fillTo = (end: number): void => {
      for (const c of group.channels) counts[c.id].fill(this.#held[c.id], row, end);
      row = end;
    };
    for (let head = queue.at(0); head !== undefined; head = queue.at(0)) {
      const tick = head.batch.tick_us[head.next];
      let at = tick_us.indexOf(tick, row);
      if (at < 0 && tick >= tick_us[0]) break; // belongs to rows that come later
      if (at < 0) at = row; // its rows are gone, as after somebody else's tool: it still counts from here on
      fillTo(at);
      group.channels.forEach((c, i) => { this.#held[c.id] = head.batch.counts[i][head.next]; });
      if (++head.next === head.batch.rows) queue.shift();
    }
    fillTo(tick_us.length);
  }
}

/** One channel over the rows of a run. */
export interface TimelineColumn {
  readonly fact: ChannelFact;
  /** In the column's unit; NaN until the channel delivered something. Held between fresh samples. */
  readonly si: Float64Array;
  /** 1 where the sample is new in this row, and where it is possible. */
  readonly fresh: Uint8Array;
  readonly valid: Uint8Array;
}

export interface Timeline {
  readonly rows: number;
  readonly tick_us: Float64Array;
  /** Seconds since the first row. */
  readonly t_s: Float64Array;
  /** Throttle commanded, 0..1. */
  readonly throttle_frac: Float64Array;
  readonly state: readonly BoardState[];
  readonly ordinal: Uint16Array;
  /** By column name, e.g. `current_A`. */
  readonly columns: ReadonlyMap<string, TimelineColumn>;
}

/** The rows of a record as they were logged, in one block; null when its header is missing. */
export function recordedRows(record: RunRecord): SampleBlock | null {
  if (record.header === null) return null;
  const merger = new RowMerger(record.header);
  let block: SampleBlock | null = null;
  for (const g of [...record.groups].reverse()) if (g.group.is_rows || g.rows > 0) block = merger.take(g.group, g);
  return block;
}

/** Every channel of a record over its rows, in SI. Null when the header is missing. */
export function timelineOf(record: RunRecord): Timeline | null {
  const block = recordedRows(record);
  if (block === null || record.header === null) return null;
  const origin = block.rows > 0 ? block.tick_us[0] : 0;
  const scaler = new SiScaler(record.header);
  return {
    rows: block.rows,
    tick_us: block.tick_us,
    t_s: block.tick_us.map((t) => (t - origin) / 1e6),
    throttle_frac: Float64Array.from(block.throttle, (t) => t / THROTTLE_FULL),
    state: Array.from(block.state, (s) => BOARD_STATES[s]),
    ordinal: block.ordinal,
    columns: new Map(scaler.scale(block).map((c) => [c.fact.column, c])),
  };
}

/** Scales blocks of one run, in order; remembers which channels have delivered anything yet. */
export class SiScaler {
  #seen = 0;

  constructor(private readonly header: RunHeader) {}

  scale(block: SampleBlock): TimelineColumn[] {
    const seen = this.#seen;
    for (let i = 0; i < block.rows; i++) this.#seen |= block.fresh[i] | block.valid[i];
    return this.header.channels.map((fact) => scaleChannel(fact, block, (seen & (1 << fact.id)) !== 0));
  }
}

function scaleChannel(fact: ChannelFact, block: SampleBlock, delivered: boolean): TimelineColumn {
  const { rows } = block;
  const counts = block.counts[fact.id];
  const bit = 1 << fact.id;
  const si = new Float64Array(rows);
  const fresh = new Uint8Array(rows);
  const valid = new Uint8Array(rows);
  let seen = delivered;
  let lastCount = NaN;
  let lastSi = NaN;
  for (let i = 0; i < rows; i++) {
    if ((block.fresh[i] & bit) !== 0) fresh[i] = 1;
    if ((block.valid[i] & bit) !== 0) valid[i] = 1;
    seen ||= fresh[i] + valid[i] > 0;
    if (counts[i] !== lastCount) {
      lastCount = counts[i];
      lastSi = toSI(fact.conversion, lastCount);
    }
    si[i] = seen ? lastSi : NaN;
  }
  return { fact, si, fresh, valid };
}
