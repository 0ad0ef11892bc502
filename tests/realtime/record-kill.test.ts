// Goal: `kill -9` costs at most 150 ms of an 8 kHz run, counted from the last tick that the process announced.
// Method: a child process paced by the real clock writes with fdatasync at each flush; it is killed at five different phases.
import { spawn } from 'node:child_process';
import fs from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { afterAll, expect, test } from 'vitest';
import { recoveredPath, recoverRecord } from '../../src/record/file-recover';
import { readRecord } from '../../src/record/file-reader';

const LONGEST_LOSS_US = 150_000;
const folder = fs.mkdtempSync(path.join(os.tmpdir(), 'spoolbench-kill-'));
afterAll(() => { fs.rmSync(folder, { recursive: true }); });

/** Runs the source until it has announced `until_us` of device time, kills it, returns the last tick it announced. */
async function killAt(file: string, until_us: number): Promise<number> {
  const child = spawn(process.execPath, ['--import', 'tsx', path.join(import.meta.dirname, 'child-record-kill.ts'), file], { stdio: ['ignore', 'pipe', 'inherit'] });
  let text = '';
  let last = 0;
  child.stdout.on('data', (piece: Buffer) => {
    text += piece.toString();
    const lines = text.split('\n');
    text = lines.pop() ?? '';
    if (lines.length > 0) last = Number(lines[lines.length - 1]);
    if (last >= until_us) child.kill('SIGKILL');
  });
  const signal = await new Promise((resolve) => child.on('close', (_code, s) => { resolve(s); }));
  expect(signal).toBe('SIGKILL');
  return last;
}

test.each([700_000, 1_030_000, 1_060_000, 1_090_000, 1_120_000])('killed after %i µs of device time: the last recovered tick is at most 150 ms behind', async (until_us) => {
  const file = path.join(folder, `${until_us}.mcap`);
  const announced = await killAt(file, until_us);
  const recovery = recoverRecord(file);
  const record = readRecord(recoveredPath(file));
  const lost_us = announced - (record.end.last_tick_us ?? 0);
  expect(lost_us).toBeLessThanOrEqual(LONGEST_LOSS_US);
  expect(record.groups[0].rows).toBe(recovery.rows);
  expect(record.end).toMatchObject({ status: 'cut-off', has_outcome: false });
  // Every row from the first on is there, none twice.
  record.groups[0].tick_us.forEach((t, i) => { if (t !== i * 125) throw new Error(`row ${i} has tick ${t}`); });
});
