// Parquet: the same table as the CSV, typed, with units and the run's header in the file's key-value metadata.
import { ByteWriter, ParquetWriter, type SchemaElement } from 'hyparquet-writer';
import type { SampleBlock } from '../model/sample';
import type { ExportColumn, ExportTable } from './export-table';
import type { RunHeader } from './header';
import type { ByteSink } from './mcap-out';

const ROWS_PER_GROUP = 65_536;

/** Hands finished row groups to a sink instead of keeping the whole file. */
class SinkWriter extends ByteWriter {
  constructor(private readonly sink: ByteSink) {
    super();
  }
  flush(): void {
    if (this.index > 0) this.sink(new Uint8Array(this.buffer, 0, this.index));
    this.index = 0;
  }
  override finish(): void {
    this.flush();
  }
}

/** Writes one run as Parquet. Rows are held until a row group is full. */
export class ParquetExport {
  readonly #writer: ParquetWriter;
  #pending: SampleBlock[] = [];
  #rows = 0;

  constructor(
    private readonly table: ExportTable,
    header: RunHeader,
    sink: ByteSink,
    /** Additional entries for the key-value metadata, e.g. how the record ends. */
    notes: Readonly<Record<string, string>> = {},
  ) {
    const heading = table.heading();
    const units = Object.fromEntries(heading.filter((c) => c.unit !== '').map((c) => [c.name, c.unit]));
    const entries = { units: JSON.stringify(units), simulated: String(header.simulated), record_id: header.record_id, header: JSON.stringify(header), ...notes };
    this.#writer = new ParquetWriter({
      writer: new SinkWriter(sink),
      schema: [{ name: 'run', num_children: heading.length }, ...heading.map(element)],
      kvMetadata: Object.entries(entries).map(([key, value]) => ({ key: `spoolbench.${key}`, value })),
      createdBy: `spoolbench ${header.versions.spoolbench}`,
    });
  }

  /** Takes a block; it must not change afterwards. */
  rows(block: SampleBlock): void {
    this.#pending.push(block);
    this.#rows += block.rows;
    if (this.#rows >= ROWS_PER_GROUP) this.#writeGroup();
  }

  finish(): void {
    this.#writeGroup();
    void this.#writer.finish(); // the sink is synchronous
  }

  #writeGroup(): void {
    if (this.#rows === 0) return;
    const parts = this.#pending.map((b) => this.table.columns(b));
    const columnData = parts[0].map((c, k) => ({ name: c.name, data: join(parts.map((p) => p[k])) }));
    void this.#writer.write({ columnData, rowGroupSize: this.#rows });
    this.#pending = [];
    this.#rows = 0;
  }
}

function element({ name, kind }: ExportColumn): SchemaElement {
  switch (kind) {
    case 'real':
      return { name, type: 'DOUBLE', repetition_type: 'OPTIONAL' };
    case 'integer':
      return { name, type: 'INT64', repetition_type: 'REQUIRED' };
    case 'flag':
      return { name, type: 'BOOLEAN', repetition_type: 'REQUIRED' };
    case 'text':
      return { name, type: 'BYTE_ARRAY', converted_type: 'UTF8', repetition_type: 'REQUIRED' };
  }
}

/** One column over several blocks, in the types that the writer wants; null where a value never arrived. */
function join(parts: readonly ExportColumn[]): (number | null)[] | bigint[] | boolean[] | string[] {
  const all: (number | null)[] = [];
  const integers: bigint[] = [];
  const flags: boolean[] = [];
  const texts: string[] = [];
  for (const c of parts) {
    if (c.kind === 'real') for (const n of c.values) all.push(Number.isNaN(n) ? null : n);
    else if (c.kind === 'integer') for (const n of c.values) integers.push(BigInt(n));
    else if (c.kind === 'flag') for (const n of c.values) flags.push(n !== 0);
    else for (const t of c.values) texts.push(t);
  }
  const { kind } = parts[0];
  return kind === 'real' ? all : kind === 'integer' ? integers : kind === 'flag' ? flags : texts;
}
