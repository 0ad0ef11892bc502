// The one table behind every export: columns with their unit, one line a row of the record, freshness visible.
import { GRAM_FORCE } from '../units';
import type { BenchEvent } from '../model/events';
import { BOARD_STATES, THROTTLE_FULL, type SampleBlock } from '../model/sample';
import type { RunHeader } from './header';
import { SiScaler } from './timeline';

export interface ExportOptions {
  /** Unit of thrust: newtons (default) or gram-force. */
  readonly force?: 'N' | 'gf';
}

/** `real`: NaN where the channel has not delivered anything yet. `integer` and `flag` are never missing. */
export type ExportColumn = { readonly name: string; readonly unit: string } & (
  | { readonly kind: 'real'; readonly values: Float64Array }
  | { readonly kind: 'integer'; readonly values: Float64Array | Uint16Array }
  | { readonly kind: 'flag'; readonly values: Uint8Array }
  | { readonly kind: 'text'; readonly values: readonly string[] }
);

/** Turns blocks of one run, in order, into columns. */
export class ExportTable {
  readonly #scaler: SiScaler;
  readonly #segments = new Map<number, { label: string; role: string }>();
  #origin_us: number | null = null;

  /** `events` are those of the whole run: they name the segments. */
  constructor(
    private readonly header: RunHeader,
    events: readonly BenchEvent[],
    private readonly options: ExportOptions = {},
  ) {
    this.#scaler = new SiScaler(header);
    for (const e of events) if (e.type === 'segment-started') this.#segments.set(e.ordinal, { label: e.segment.label, role: e.segment.role });
  }

  columns(block: SampleBlock): ExportColumn[] {
    const { rows } = block;
    if (rows > 0) this.#origin_us ??= block.tick_us[0];
    const origin = this.#origin_us ?? 0;
    const labels: string[] = [];
    const roles: string[] = [];
    const states: string[] = [];
    for (let i = 0; i < rows; i++) {
      const segment = this.#segments.get(block.ordinal[i]);
      labels.push(segment?.label ?? '');
      roles.push(segment?.role ?? '');
      states.push(BOARD_STATES[block.state[i]] ?? String(block.state[i]));
    }
    const common: ExportColumn[] = [
      { name: 't_s', unit: 's', kind: 'real', values: block.tick_us.map((t) => (t - origin) / 1e6) },
      { name: 'tick_us', unit: 'us', kind: 'integer', values: block.tick_us },
      { name: 'state', unit: '', kind: 'text', values: states },
      { name: 'segment', unit: '', kind: 'integer', values: block.ordinal },
      { name: 'segment_label', unit: '', kind: 'text', values: labels },
      { name: 'segment_role', unit: '', kind: 'text', values: roles },
      { name: 'throttle_frac', unit: '1', kind: 'real', values: Float64Array.from(block.throttle, (t) => t / THROTTLE_FULL) },
    ];
    return [...common, ...this.#channels(block)];
  }

  #channels(block: SampleBlock): ExportColumn[] {
    return this.#scaler.scale(block).flatMap(({ fact, si, fresh, valid }): ExportColumn[] => {
      const { base, unit } = splitColumn(fact.column);
      const inGramForce = fact.kind === 'thrust' && this.options.force === 'gf';
      return [
        inGramForce
          ? { name: `${base}_gf`, unit: 'gf', kind: 'real', values: si.map((n) => n / GRAM_FORCE) }
          : { name: fact.column, unit, kind: 'real', values: si },
        { name: `${base}_fresh`, unit: '', kind: 'flag', values: fresh },
        { name: `${base}_valid`, unit: '', kind: 'flag', values: valid },
      ];
    });
  }

  /** The columns with no rows: names, units and kinds. */
  heading(): ExportColumn[] {
    const none = new Uint8Array(0);
    const empty = { rows: 0, tick_us: new Float64Array(0), throttle: new Uint16Array(0), state: none, ordinal: new Uint16Array(0), fresh: none, valid: none };
    return this.columns({ ...empty, counts: this.header.channels.map(() => new Int32Array(0)) });
  }
}

/** `current_A` → `current`, `A`. */
function splitColumn(column: string): { base: string; unit: string } {
  const at = column.lastIndexOf('_');
  return at < 0 ? { base: column, unit: '' } : { base: column.slice(0, at), unit: column.slice(at + 1) };
}
