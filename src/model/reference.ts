// The reference page of the file formats, written from the schemas themselves.
import { FILE_KINDS, type FileKind } from './files/index';
import { jsonSchemaFor, type JsonSchema } from './json-schema';
import { DIMENSIONS, DIMENSION_NAMES, unitsOf } from '../units';

/** Where a kind of file lives in a bench folder. */
const PLACES: Readonly<Record<FileKind, string>> = {
  rig: 'rig.yaml', article: 'article.yaml', craft: 'craft.yaml', protocol: 'protocols/*.yaml', campaign: 'campaigns/*.yaml', calibration: 'calibration/*.yaml', answers: 'answers.yaml',
};

/** The whole page as Markdown. */
export function filesReference(): string {
  return [
    '# File formats',
    '',
    '<!-- Written by `npx tsx scripts/docs-files.mjs` from the schemas in src/model/files. Do not edit. -->',
    '',
    'For whoever writes or reads the YAML files of a bench folder. Every file starts with `spoolbench: 1`, the version of the format, and',
    'the key that names it. An editor completes and checks the files with the JSON Schema that `spoolbench schema NAME` prints.',
    '',
    '- A quantity is a number and its unit: `400 ms`, `10 %`, `35 °C`. A bare number where a unit is needed is an error.',
    '- A range is two quantities: `2 V .. 12 V`.',
    '- A key that is not listed here is an error, with the nearest spelling suggested.',
    '- Inside `{ }` a text with a comma needs quotes.',
    '- A problem is told as `file:line:column key: what is wrong; accepted: …`, every problem at once, and nothing is started.',
    '',
    'Keys marked * must be there.',
    '',
    ...FILE_KINDS.flatMap(section),
    '## Units',
    '',
    '| what | units |',
    '|---|---|',
    ...DIMENSION_NAMES.map((d) => `| ${DIMENSIONS[d].name} | ${unitsOf(d).map((u) => `\`${u.symbol}\``).join(', ')} |`),
    '',
    '`u` may also be written `µ`. Grams are a mass; a force is `gf`. One `gf` is 9.80665 mN (standard gravity, SI Brochure), one `in` is',
    '25.4 mm (international inch, 1959).',
    '',
  ].join('\n');
}

function section(kind: FileKind): string[] {
  const schema = jsonSchemaFor(kind);
  return [
    `## ${kind}`,
    '',
    `\`${PLACES[kind]}\`. ${textOf(schema.description)}.`,
    '',
    '| key | what | accepted | if left out |',
    '|---|---|---|---|',
    ...rowsOf(schema, '', defsOf(schema), 0),
    '',
  ];
}

type Defs = Readonly<Record<string, JsonSchema>>;

function defsOf(schema: JsonSchema): Defs {
  return (schema.$defs ?? {}) as Defs;
}

/** A reference resolved once; segments inside repeats refer to themselves and are not followed again. */
function resolved(schema: JsonSchema, defs: Defs): JsonSchema {
  const ref = schema.$ref;
  return typeof ref === 'string' ? (defs[ref.replace('#/$defs/', '')] ?? schema) : schema;
}

function rowsOf(schema: JsonSchema, prefix: string, defs: Defs, depth: number): string[] {
  const properties = (schema.properties ?? {}) as Record<string, JsonSchema>;
  const required = (schema.required ?? []) as readonly string[];
  return Object.entries(properties).flatMap(([key, given]) => {
    const property = resolved(given, defs);
    const name = `${prefix}${key}`;
    const row = `| \`${name}\`${required.includes(key) ? '*' : ''} | ${textOf(property.description)} | ${acceptedIn(property)} | ${defaultIn(property)} |`;
    return [row, ...below(given, name, defs, depth)];
  });
}

function below(property: JsonSchema, name: string, defs: Defs, depth: number): string[] {
  const node = resolved(property, defs);
  if (depth > 6 || (node !== property && depth > 2)) return [];
  if (node.properties !== undefined) return rowsOf(node, `${name}.`, defs, depth + 1);
  const items = node.items;
  if (typeof items === 'object' && items !== null) return below(items as JsonSchema, `${name}[]`, defs, depth + 1);
  const values = node.additionalProperties;
  if (typeof values === 'object' && values !== null) return below(values as JsonSchema, `${name}.NAME`, defs, depth + 1);
  const branches = (node.oneOf ?? node.anyOf) as readonly JsonSchema[] | undefined;
  return (branches ?? []).flatMap((branch) => {
    const kind = discriminatorOf(branch);
    if (kind === null) return below(branch, name, defs, depth);
    return [`| \`${name}\` with \`${kind.key}: ${kind.value}\` | ${textOf(branch.description)} | a map | |`, ...rowsOf(withoutKey(branch, kind.key), `${name}.`, defs, depth + 1)];
  });
}

function discriminatorOf(branch: JsonSchema): { key: string; value: string } | null {
  const properties = (branch.properties ?? {}) as Record<string, JsonSchema>;
  const found = Object.entries(properties).find(([, p]) => p.const !== undefined && p.description === undefined);
  return found === undefined ? null : { key: found[0], value: textOf(found[1].const) };
}

function withoutKey(branch: JsonSchema, key: string): JsonSchema {
  const properties = Object.fromEntries(Object.entries((branch.properties ?? {}) as Record<string, JsonSchema>).filter(([k]) => k !== key));
  return { ...branch, properties };
}

function acceptedIn(property: JsonSchema): string {
  const words = property.enum as readonly unknown[] | undefined;
  if (words !== undefined) return words.map((w) => `\`${textOf(w)}\``).join(', ');
  if (property.const !== undefined) return `\`${textOf(property.const)}\``;
  const examples = property.examples as readonly unknown[] | undefined;
  const example = examples?.[0] === undefined ? '' : `\`${typeof examples[0] === 'object' ? flow(examples[0]) : textOf(examples[0])}\``;
  const { minimum, maximum } = property as { minimum?: number; maximum?: number };
  if (property.type === 'integer') return `whole number ${minimum} .. ${maximum}`;
  if (property.type === 'boolean') return '`true`, `false`';
  if (example !== '') return `such as ${example}`;
  if (property.type === 'array') return 'a list';
  return 'a map';
}

function defaultIn(property: JsonSchema): string {
  const value = property.default;
  if (value === undefined) return '';
  const text = typeof value === 'object' ? flow(value) : textOf(value);
  return text === '{}' || text === '{ }' ? 'as below' : `\`${text}\``;
}

/** A value as YAML writes it in one line. */
function flow(value: unknown): string {
  if (Array.isArray(value)) return `[${value.map(flow).join(', ')}]`;
  if (typeof value === 'object' && value !== null) {
    const entries = Object.entries(value).map(([k, v]) => `${k}: ${flow(v)}`);
    return entries.length === 0 ? '{}' : `{ ${entries.join(', ')} }`;
  }
  return textOf(value);
}

function textOf(value: unknown): string {
  return typeof value === 'string' || typeof value === 'number' || typeof value === 'boolean' ? String(value).replace(/\|/g, '\\|') : '';
}
