// Small tables of results as CSV or Parquet. Runs are exported elsewhere, row by row; these fit in memory.
import { ByteWriter, ParquetWriter, type SchemaElement } from 'hyparquet-writer';

/** A column. A missing number is null; text is never missing. `unit` is that of every value, or empty where rows carry their own. */
export type SheetColumn = { readonly name: string; readonly unit: string } & (
  | { readonly kind: 'real' | 'integer'; readonly values: readonly (number | null)[] }
  | { readonly kind: 'text'; readonly values: readonly string[] }
);

/** CSV (RFC 4180 quoting, LF line ends), full precision; a missing number is an empty field. */
export function sheetCsv(columns: readonly SheetColumn[]): string {
  const lines = [columns.map((c) => field(c.name)).join(',')];
  for (let i = 0; i < rowsOf(columns); i++) {
    lines.push(columns.map((c) => { const v = c.values[i]; return typeof v === 'string' ? field(v) : v === null ? '' : String(v); }).join(','));
  }
  return `${lines.join('\n')}\n`;
}

/** Parquet with units and `notes` in the key-value metadata, under `spoolbench.`. */
export function sheetParquet(columns: readonly SheetColumn[], notes: Readonly<Record<string, string>>, createdBy: string): Uint8Array {
  const units = Object.fromEntries(columns.filter((c) => c.unit !== '').map((c) => [c.name, c.unit]));
  const bytes = new ByteWriter();
  const writer = new ParquetWriter({
    writer: bytes, schema: [{ name: 'table', num_children: columns.length }, ...columns.map(element)], createdBy,
    kvMetadata: Object.entries({ units: JSON.stringify(units), ...notes }).map(([key, value]) => ({ key: `spoolbench.${key}`, value })),
  });
  const rows = rowsOf(columns);
  if (rows > 0) {
    const columnData = columns.map((c) => ({ name: c.name, data: c.kind === 'integer' ? c.values.map((v) => (v === null ? null : BigInt(v))) : [...c.values] }));
    void writer.write({ columnData, rowGroupSize: rows });
  }
  void writer.finish(); // both are synchronous: the writer keeps everything in memory
  return bytes.getBytes();
}

const rowsOf = (columns: readonly SheetColumn[]): number => columns[0]?.values.length ?? 0;

function element({ name, kind }: SheetColumn): SchemaElement {
  switch (kind) {
    case 'real': return { name, type: 'DOUBLE', repetition_type: 'OPTIONAL' };
    case 'integer': return { name, type: 'INT64', repetition_type: 'OPTIONAL' };
    case 'text': return { name, type: 'BYTE_ARRAY', converted_type: 'UTF8', repetition_type: 'REQUIRED' };
  }
}

function field(text: string): string {
  // A cell that begins like a formula would be run by a spreadsheet.
  const safe = /^[=+\-@\t\r]/.test(text) ? `'${text}` : text;
  return /[",\r\n]/.test(safe) ? `"${safe.replaceAll('"', '""')}"` : safe;
}
