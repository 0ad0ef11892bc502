// CSV: one line a row, LF line ends, fields quoted as in RFC 4180 where they need it, nine significant digits.
import type { SampleBlock } from '../model/sample';
import type { ExportColumn, ExportTable } from './export-table';

/** Heading line. */
export function csvHeading(table: ExportTable): string {
  return table.heading().map((c) => field(c.name)).join(',') + '\n';
}

/** Lines of a block; a value that never arrived is an empty field, flags are 0 and 1. */
export function csvLines(table: ExportTable, block: SampleBlock): string {
  const texts = table.columns(block).map(cells);
  const lines: string[] = [];
  for (let i = 0; i < block.rows; i++) lines.push(texts.map((t) => t[i]).join(','));
  return lines.length === 0 ? '' : lines.join('\n') + '\n';
}

function cells(column: ExportColumn): string[] {
  const out: string[] = [];
  switch (column.kind) {
    case 'text': {
      const quoted = new Map<string, string>();
      for (const text of column.values) {
        let q = quoted.get(text);
        if (q === undefined) quoted.set(text, (q = field(text)));
        out.push(q);
      }
      return out;
    }
    case 'integer':
    case 'flag':
      for (const n of column.values) out.push(String(n));
      return out;
    case 'real': {
      // Held values repeat: format each once.
      let last = NaN;
      let text = '';
      for (const n of column.values) {
        if (n !== last) {
          last = n;
          text = Number.isNaN(n) ? '' : String(Number(n.toPrecision(9)));
        }
        out.push(text);
      }
      return out;
    }
  }
}

function field(text: string): string {
  return /[",\r\n]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text;
}
