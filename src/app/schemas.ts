// JSON Schemas: of the bench files for editors, and of what is written for programs that read it.
import { FILE_KINDS, type FileKind } from '../model/files';
import { comparisonJsonSchema } from '../model/comparison';
import { jsonSchemaFor } from '../model/json-schema';
import { resultsJsonSchema } from '../model/results';

/** Written files with a schema of their own. */
const OUTPUTS = { results: resultsJsonSchema, comparison: comparisonJsonSchema } as const;

/** Everything that `schema` knows. */
export const SCHEMA_NAMES = [...FILE_KINDS, ...(Object.keys(OUTPUTS) as (keyof typeof OUTPUTS)[])] as const;
export type SchemaName = (typeof SCHEMA_NAMES)[number];

/** The JSON Schema (draft 2020-12) of that name. */
export function schemaOf(name: SchemaName): Readonly<Record<string, unknown>> {
  return name in OUTPUTS ? OUTPUTS[name as keyof typeof OUTPUTS]() : jsonSchemaFor(name as FileKind);
}
