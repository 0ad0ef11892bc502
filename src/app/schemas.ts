// JSON Schemas of the bench files, for editors.
import { FILE_KINDS, type FileKind } from '../model/files';
import { jsonSchemaFor } from '../model/json-schema';

export { FILE_KINDS };

/** The JSON Schema of a kind of file. */
export function schemaOf(kind: FileKind): Readonly<Record<string, unknown>> {
  return jsonSchemaFor(kind);
}
