// Goal: `report DIR` needs results.json, says plainly what is wrong with it, overwrites nothing and names records that it cannot show.
// Method: folders in the system's temporary folder with made-up results; no record is in them, so traces are missing on purpose.
import { mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { BadInput } from '../../src/app/errors';
import { reportFolder } from '../../src/app/report';
import { makeResults } from './make-results';

const small = { factors: { timing_advance: ['0 deg', '8 deg'] }, repeats: 2, metrics: ['full_throttle_rpm'] as const };
let top = '';
beforeAll(() => { top = mkdtempSync(join(tmpdir(), 'spoolbench-report-')); });
afterAll(() => { rmSync(top, { recursive: true, force: true }); });

function folder(content: string | null): string {
  const made = mkdtempSync(join(top, 'campaign-'));
  if (content !== null) writeFileSync(join(made, 'results.json'), content);
  return made;
}
const problem = (dir: string, out?: string): string => {
  try {
    reportFolder(dir, out);
    return 'no problem';
  } catch (error) {
    return error instanceof BadInput ? error.message : `not BadInput: ${String(error)}`;
  }
};

describe('the report of a folder', () => {
  test('is refused without results.json, with the command that writes it', () => {
    expect(problem(folder(null))).toMatch(/results\.json: there is no such file; `spoolbench analyze/);
  });

  test('is refused for what is not JSON and for what is not results, naming what is wrong', () => {
    expect(problem(folder('{"spoolbench_results": 1'))).toMatch(/this is not JSON/);
    expect(problem(folder('{"spoolbench_results": 2}'))).toMatch(/spoolbench_results: .*\n(.*\n)*.*not what this version/);
  });

  test('overwrites nothing: the same report is found again, another gets a number', () => {
    const dir = folder(JSON.stringify(makeResults(small)));
    const first = reportFolder(dir);
    expect([first.isNew, first.path]).toEqual([true, join(dir, 'report.html')]);
    expect(reportFolder(dir)).toMatchObject({ isNew: false, path: join(dir, 'report.html') });
    const before = readFileSync(first.path, 'utf8');
    writeFileSync(join(dir, 'results.json'), JSON.stringify(makeResults({ ...small, campaign: 'another' })));
    expect(reportFolder(dir)).toMatchObject({ isNew: true, path: join(dir, 'report-2.html') });
    expect(readFileSync(first.path, 'utf8')).toBe(before);
    expect(problem(dir, first.path)).toMatch(/nothing is ever overwritten/);
    expect(readdirSync(dir).sort()).toEqual(['report-2.html', 'report.html', 'results.json']);
  });

  test('names the records that it cannot show, and is written all the same', () => {
    const report = reportFolder(folder(JSON.stringify(makeResults(small))));
    expect(report.remarks.length).toBeGreaterThan(0);
    for (const remark of report.remarks) expect(remark).toMatch(/^runs\/\d+\.mcap: no trace is shown: /);
    expect(readFileSync(report.path, 'utf8')).toContain('No raw traces are included');
    expect(report.bytes).toBe(readFileSync(report.path).length);
  });
});
