// Goal: the record on disk survives short writes and a full disk, is never overwritten, and is written when device time says so.
// Method: real files in a temporary folder; a disk that takes few bytes at a time or fills up after a given number.
import { createHash } from 'node:crypto';
import fs from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { afterAll, describe, expect, test } from 'vitest';
import { BadHeader, CannotRecord } from '../../src/record/errors';
import { readRecord } from '../../src/record/file-reader';
import { type FileCalls, openRecord } from '../../src/record/file-writer';
import { RecordWriter } from '../../src/record/writer';
import { doneOutcome, emptyBlock, makeBlocks, makeHeader, makeRecord, yaml } from './make';

const folder = fs.mkdtempSync(path.join(os.tmpdir(), 'spoolbench-write-'));
afterAll(() => { fs.rmSync(folder, { recursive: true }); });
let files = 0;
const fresh = () => path.join(folder, `${++files}.mcap`);

/** A disk that takes at most `most` bytes a call, and has room for `room` bytes; `events` notes what was asked of it. */
function disk({ most = Infinity, room = Infinity, code = 'ENOSPC', torn = false }): FileCalls & { syncs: number; calls: number } {
  let used = 0;
  return {
    syncs: 0, calls: 0,
    write(fd, bytes, offset, length) {
      this.calls++;
      const n = Math.min(length, most, room - used);
      if (n <= 0) throw Object.assign(new Error('write failed'), { code });
      const done = fs.writeSync(fd, bytes, offset, n);
      used += done;
      return done;
    },
    truncate(fd, length) {
      if (torn) throw new Error('truncate failed');
      fs.ftruncateSync(fd, length);
      used = length;
    },
    sync() { this.syncs++; },
  };
}

describe('writing to disk', () => {
  test('the file holds the same bytes as the pure writer made, and close() tells their SHA-256', () => {
    const file = fresh();
    const log = openRecord(file, makeHeader(), [yaml]);
    for (const b of makeBlocks({ rows: 700 })) log.block(b);
    log.outcome(doneOutcome);
    const closed = log.close();
    const bytes = fs.readFileSync(file);
    expect(closed).toEqual({ path: file, bytes: bytes.length, sha256: createHash('sha256').update(bytes).digest('hex'), complete: true });
    expect(readRecord(file).end.status).toBe('complete');
    expect(log.close()).toEqual(closed);
    expect(() => { log.outcome(doneOutcome); }).toThrow(/closed/);
  });

  test('short writes are continued', () => {
    const file = fresh();
    const calls = disk({ most: 7 });
    const log = openRecord(file, makeHeader(), [], { calls });
    for (const b of makeBlocks({ rows: 200 })) log.block(b);
    log.outcome(doneOutcome);
    expect(log.close().complete).toBe(true);
    expect(readRecord(file)).toMatchObject({ end: { status: 'complete' }, outcome: doneOutcome });
    expect(calls.calls).toBeGreaterThan(100);
  });

  test('an existing file is never overwritten', () => {
    const file = fresh();
    fs.writeFileSync(file, 'precious');
    expect(() => openRecord(file, makeHeader())).toThrow(CannotRecord);
    expect(fs.readFileSync(file, 'utf8')).toBe('precious');
  });

  test('a header that JSON cannot hold is refused by name, and leaves no file', () => {
    const file = fresh();
    expect(() => openRecord(file, makeHeader({ limits: { current_peak: { above_A: Infinity } } }))).toThrow(BadHeader);
    expect(() => openRecord(file, makeHeader({ limits: { a: NaN } }))).toThrow(/limits, at a/);
    expect(fs.existsSync(file)).toBe(false);
  });

  test('data is forced to the medium when asked: never, at outcome and end, or with every flush', () => {
    const syncs = (['never', 'end', 'flush'] as const).map((sync) => {
      const calls = disk({});
      const log = openRecord(fresh(), makeHeader(), [], { calls, sync });
      for (const b of makeBlocks({ rows: 1000 })) log.block(b);
      log.outcome(doneOutcome);
      log.close();
      return calls.syncs;
    });
    expect(syncs[0]).toBe(0);
    expect(syncs[1]).toBe(2);
    expect(syncs[2]).toBeGreaterThan(9);
  });
});

describe('a full disk', () => {
  const head = makeRecord({ rows: 0, outcome: false, finish: false }).writes[0];

  test.each([1, 10, 500, 2500, 4000, 6000])('with room for %i bytes after the header: CannotRecord once, and what was written stays readable', (more) => {
    const file = fresh();
    const log = openRecord(file, makeHeader(), [yaml], { calls: disk({ room: head + more }) });
    const thrown: unknown[] = [];
    const attempt = (action: () => void): void => {
      try {
        action();
      } catch (error) {
        thrown.push(error);
      }
    };
    for (const b of makeBlocks({ rows: 3000 })) attempt(() => { log.block(b); });
    attempt(() => { log.outcome(doneOutcome); });
    const closed = log.close();
    expect(thrown).toHaveLength(1);
    expect(thrown[0]).toBeInstanceOf(CannotRecord);
    expect(thrown[0]).toMatchObject({ code: 'ENOSPC' });
    expect(String(thrown[0])).toContain('the disk is full');
    expect(log.failure).toBe(thrown[0]);
    expect(closed).toMatchObject({ complete: false, bytes: fs.statSync(file).size });
    expect(closed.sha256).toBe(createHash('sha256').update(fs.readFileSync(file)).digest('hex'));
    const { end, header } = readRecord(file);
    expect(header).not.toBeNull();
    expect(end).toMatchObject({ status: 'cut-off', problems: [], used_bytes: closed.bytes });
  });

  test('the outcome still gets in when the part of a chunk that did not fit made room for it', () => {
    const file = fresh();
    const log = openRecord(file, makeHeader(), [yaml], { calls: disk({ room: head + 2500 }), flush_us: 1_000_000 });
    expect(() => { for (const b of makeBlocks({ rows: 3000 })) log.block(b); }).toThrow(CannotRecord);
    log.event({ type: 'mark', tick_us: 5, label: 'after' });
    log.outcome({ ...doneOutcome, outcome: 'tripped' });
    expect(log.close().complete).toBe(false);
    expect(readRecord(file)).toMatchObject({ outcome: { outcome: 'tripped' }, events: [{ label: 'after' }], end: { problems: [] } });
  });

  test('when the torn end cannot be taken back nothing more is appended, and the reader stops before it', () => {
    const file = fresh();
    const log = openRecord(file, makeHeader(), [], { calls: disk({ room: head + 900, torn: true, code: 'EIO' }) });
    expect(() => { for (const b of makeBlocks({ rows: 3000 })) log.block(b); }).toThrow(/EIO/);
    log.outcome(doneOutcome);
    log.close();
    expect(readRecord(file).end).toMatchObject({ status: 'cut-off', has_outcome: false, problems: [] });
  });

  test('no room even for the header: refused, and no stub is left', () => {
    const file = fresh();
    expect(() => openRecord(file, makeHeader(), [], { calls: disk({ room: 100 }) })).toThrow(CannotRecord);
    expect(fs.existsSync(file)).toBe(false);
  });
});

describe('when bytes are written', () => {
  /** Device time of the newest row at each write after the header, and of the row before which it had to be written. */
  function flushTimes(period_us: number, block: number, flush_us: number): number[] {
    const header = makeHeader({ row_period_us: period_us });
    const times: number[] = [];
    let now = 0;
    const writer = new RecordWriter(header, [], () => times.push(now), { flush_us });
    times.length = 0;
    for (const b of makeBlocks({ rows: 3000, block, header, start_us: 0 })) {
      now = b.tick_us[b.rows - 1];
      writer.block(b);
    }
    return times;
  }

  test.each([[125, 8], [125, 40], [1000, 10], [1000, 50], [1000, 32]])('rows every %i µs in blocks of %i: never more than 100 ms of device time unwritten', (period, block) => {
    const times = flushTimes(period, block, 100_000);
    expect(times.length).toBeGreaterThan(2);
    times.reduce((before, now) => {
      expect(now - before).toBeLessThanOrEqual(100_000);
      expect(now - before).toBeGreaterThan(50_000);
      return now;
    }, 0);
  });

  test('a trip and the outcome are written at once', () => {
    let bytes = 0;
    const writer = new RecordWriter(makeHeader(), [], (b) => { bytes += b.length; });
    const at = () => bytes;
    const start = at();
    writer.block(emptyBlock(3, 7));
    writer.event({ type: 'mark', tick_us: 0, label: 'm' });
    expect(at()).toBe(start);
    writer.event({ type: 'tripped', tick_us: 1, trip: { code: 'STALL', by: 'controller', tick_us: 1, value: 3, limit: 2, unit: 'A', channel: 'current_A', ordinal: 1, detail: '' } });
    const afterTrip = at();
    expect(afterTrip).toBeGreaterThan(start);
    writer.outcome(doneOutcome);
    expect(at()).toBeGreaterThan(afterTrip);
  });

  test('a block with fewer channels than declared is refused with the numbers', () => {
    const writer = new RecordWriter(makeHeader(), [], () => undefined);
    expect(() => { writer.block(emptyBlock(1, 3)); }).toThrow(/block of 3 channels.*declares 7/);
  });
});
