// Goal: telemetry rows land in columns exactly as sent; ticks, gaps and clocks are followed across every wrap.
// Method: rows built byte by byte against the plain decoder; walks over both sides of each boundary.
import { describe, expect, test } from 'vitest';
import { ClockFit } from '../../src/link/clock-fit';
import { SequenceGaps } from '../../src/link/gaps';
import { decodeMessage, type Row } from '../../src/link/messages';
import { RowBuffer, rowTick, sequenceOf } from '../../src/link/rows';
import { TickUnwrapper } from '../../src/link/ticks';
import { rowPayload } from './build';

describe('row columns', () => {
  test('hold what the plain decoder reads, with counts held where a channel is not fresh', () => {
    const buffer = new RowBuffer(3, 2);
    const held = [0, 0, 0];
    for (let i = 0; i < 100; i++) {
      const fresh = i % 8;
      const counts = [i, -i * 1000, 2147483647 - i].filter((_, c) => fresh & (1 << c));
      const payload = rowPayload({ sequence: i, tick: 5_000_000 + i, throttle: i * 100, state: 2, queued: i % 16, cause: 0, ordinal: i, fresh, valid: 7, counts });
      const row = decodeMessage(payload, payload.length) as Row;
      expect(row.counts).toEqual(counts);
      expect([sequenceOf(payload), rowTick(payload)]).toEqual([row.sequence, row.tick_us]);
      expect(buffer.append(payload, payload.length, row.tick_us)).toBe(true);
      expect(buffer.queued).toBe(row.queued);
      let k = 0;
      for (let c = 0; c < 3; c++) {
        if (fresh & (1 << c)) held[c] = counts[k++]!;
        expect(buffer.counts[c][i]).toBe(held[c]);
      }
    }
    const block = buffer.take();
    expect(block.rows).toBe(100);
    expect(block.tick_us[99]).toBe(5_000_099);
    expect([block.throttle[3], block.state[3], block.ordinal[3], block.fresh[3], block.valid[3]]).toEqual([300, 2, 3, 3, 7]);
    expect(buffer.rows).toBe(0);
  });

  test('a taken block does not change any more; held counts live on', () => {
    const buffer = new RowBuffer(1);
    const first = rowPayload({ fresh: 1, counts: [42] });
    buffer.append(first, first.length, 1);
    const block = buffer.take();
    const second = rowPayload({ fresh: 0, counts: [] });
    buffer.append(second, second.length, 2);
    expect(block.tick_us[0]).toBe(1);
    expect(buffer.counts[0][0]).toBe(42);
  });

  test('a row whose length disagrees with its mask, or with an undeclared channel, is refused', () => {
    const buffer = new RowBuffer(2);
    const good = rowPayload({ fresh: 3, counts: [1, 2] });
    expect(buffer.append(good, good.length - 1, 1)).toBe(false);
    expect(buffer.append(good, 10, 1)).toBe(false);
    const foreign = rowPayload({ fresh: 4, counts: [1] });
    expect(buffer.append(foreign, foreign.length, 1)).toBe(false);
    expect(buffer.rows).toBe(0);
    expect(buffer.append(good, good.length, 1)).toBe(true);
  });

  test('more channels than the wire carries cannot be asked for', () => {
    expect(() => new RowBuffer(9)).toThrow(/9 channels/);
    expect(new RowBuffer(8).counts).toHaveLength(8);
  });
});

describe('device ticks', () => {
  test('rise on through the 32-bit wrap', () => {
    const ticks = new TickUnwrapper();
    expect(ticks.latest_us).toBe(-1);
    expect(ticks.advance(0xffffff00)).toBe(0xffffff00);
    expect(ticks.advance(0x10)).toBe(2 ** 32 + 0x10);
    let at = 2 ** 32 + 0x10;
    for (let i = 0; i < 20; i++) {
      at += 2 ** 31 - 1;
      expect(ticks.advance(at % 2 ** 32)).toBe(at);
    }
  });

  test('the same tick, an earlier one, and one half a wrap away are out of order', () => {
    const ticks = new TickUnwrapper();
    ticks.advance(1000);
    expect(ticks.advance(1000)).toBe(-1);
    expect(ticks.advance(999)).toBe(-1);
    expect(ticks.advance((1000 + 2 ** 31) % 2 ** 32)).toBe(-1);
    expect(ticks.peek(999)).toBe(999);
    expect(ticks.advance(1001)).toBe(1001);
    ticks.restart();
    expect(ticks.peek(7)).toBe(7);
    expect(ticks.advance(5)).toBe(5);
  });
});

describe('sequence numbers', () => {
  test('count what is missing, double and late, through the wrap', () => {
    const gaps = new SequenceGaps();
    expect(gaps.note(65534)).toBe('next');
    expect(gaps.note(65535)).toBe('next');
    expect(gaps.note(0)).toBe('next');
    expect(gaps.note(0)).toBe('duplicate');
    expect(gaps.note(4)).toBe('gap');
    expect(gaps.missing).toBe(3);
    expect(gaps.note(2)).toBe('late');
    expect([gaps.missing, gaps.duplicates, gaps.late]).toEqual([2, 1, 1]);
    expect(gaps.note(5)).toBe('next');
    gaps.restart();
    expect(gaps.note(100)).toBe('next');
    expect(gaps.note(99)).toBe('late');
    expect(gaps.note(98)).toBe('late');
    expect(gaps.note(97)).toBe('late');
    expect(gaps.missing).toBe(0);
  });
});

describe('clock fit', () => {
  test('recovers offset and rate, and its uncertainty covers them', () => {
    const fit = new ClockFit();
    expect(fit.at(0)).toBeNull();
    let s = 12345;
    for (let i = 0; i < 400; i++) {
      s = (Math.imul(s, 1103515245) + 12345) >>> 0;
      const noise = (s / 2 ** 32 - 0.5) * 200;
      fit.add(1e6 + i * 10_000, 5e9 + i * 10_000 * 1.00005 + noise);
    }
    expect(fit.pairs).toBe(400);
    expect(Math.abs(fit.rate - 1.00005)).toBeLessThan(4 * fit.u_rate);
    expect(fit.u_rate).toBeLessThan(1e-5);
    const now = fit.at(1e6 + 399 * 10_000)!;
    expect(Math.abs(now.host_us - (5e9 + 3_990_000 * 1.00005))).toBeLessThan(4 * now.u_us);
    expect(now.u_us).toBeLessThan(20);
    expect(fit.at(1e6 + 4e7)!.u_us).toBeGreaterThan(now.u_us);
  });

  test('agrees with the worked line fit of JCGM 100:2008 H.3', () => {
    const t = [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.01, 26.511];
    const b = [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.16];
    const fit = new ClockFit();
    t.forEach((x, i) => fit.add(x, b[i]));
    expect(fit.rate).toBeCloseTo(0.00218, 5);
    expect(fit.u_rate).toBeCloseTo(0.00067, 5);
    const at30 = fit.at(30)!;
    expect(at30.host_us).toBeCloseTo(-0.1494, 4);
    expect(at30.u_us).toBeCloseTo(0.0041, 4);
  });

  test('claims nothing from fewer than three pairs or from one instant', () => {
    const fit = new ClockFit();
    fit.add(10, 100);
    expect(fit.rate).toBe(1);
    expect(fit.at(20)).toEqual({ host_us: 110, u_us: Infinity });
    fit.add(10, 102);
    fit.add(10, 104);
    expect(fit.u_rate).toBe(Infinity);
    expect(fit.at(20)!.u_us).toBe(Infinity);
  });
});
