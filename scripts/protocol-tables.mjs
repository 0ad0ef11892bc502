// Writes the parameter tables of docs/protocols.md from the declarations: npx tsx scripts/protocol-tables.mjs
import { readFile, writeFile } from 'node:fs/promises';
import { dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { BUILT_IN } from '../src/protocols/catalogue.ts';
import { withTables } from '../src/protocols/describe.ts';

const page = join(dirname(dirname(fileURLToPath(import.meta.url))), 'docs/protocols.md');
await writeFile(page, withTables(await readFile(page, 'utf8'), BUILT_IN));
