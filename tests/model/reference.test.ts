// Goal: the reference page of the formats says what the schemas say.
// Method: the page is written afresh and compared with the one in docs.
import { readFileSync } from 'node:fs';
import { expect, test } from 'vitest';
import { filesReference } from '../../src/model/reference';

test('docs/files.md is as the schemas are (else run: npx tsx scripts/docs-files.mjs)', () => {
  expect(readFileSync(new URL('../../docs/files.md', import.meta.url), 'utf8')).toBe(filesReference());
});

test('every key of every format stands in the page', () => {
  const page = filesReference();
  for (const key of ['`limits.current_peak.above`*', '`channels.speed.pole_pairs`*', '`factors.NAME` with `apply: command`', '`factors.NAME.read_back`', '`segments[].ramp.to`*', '`choice.constraints[].at_most`', '`law` with `kind: quadratic`', '`battery.usable`*', '`esc.settings`', '`supply.commands.voltage`']) {
    expect(page).toContain(key);
  }
});
