// Writes docs/files.md from the schemas: npx tsx scripts/docs-files.mjs
import { writeFileSync } from 'node:fs';
import { filesReference } from '../src/model/reference.ts';

writeFileSync(new URL('../docs/files.md', import.meta.url), filesReference());
