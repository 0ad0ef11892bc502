// JSON Schema (draft 2020-12) of the file formats, for editors that complete and check YAML while it is written.
import { z } from 'zod';
import { FORMAT_VERSION, SCHEMAS, type FileKind } from './files/index';

export type JsonSchema = Readonly<Record<string, unknown>>;

/** The schema of a kind of file as it is written: quantities are texts with a pattern, every key carries a description. */
export function jsonSchemaFor(kind: FileKind): JsonSchema {
  const schema = z.toJSONSchema(SCHEMAS[kind], { io: 'input', target: 'draft-2020-12' }) as Record<string, unknown>;
  return { ...schema, $id: `spoolbench:${kind}:${FORMAT_VERSION}`, title: `Spoolbench ${kind} file` };
}
