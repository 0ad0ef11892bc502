// Goal: a stop counts as done only when current and speed were measured low, and says so with numbers.
// Method: rows after a stop for every way a motor can come to rest or not, both sides of each time.
import { describe, expect, test } from 'vitest';
import { StopWatch, type StopResult } from '../../src/safety/stop';
import { Drive, FACTS, LIMITS } from './build';
import { UNIT_OF, type Channel } from '../../src/safety/row';

const channel = (id: number): Channel => ({ ...FACTS[id], unit: UNIT_OF[FACTS[id].kind] });

/** A drive that was told to stop; `shape` sets its readings by the milliseconds since. */
function stopping(shape: (drive: Drive, ms: number) => void, options: { speed?: boolean; ms?: number; before?: (drive: Drive) => void } = {}) {
  const drive = new Drive();
  const watch = new StopWatch({ current: channel(0), speed: options.speed === false ? null : channel(2), limit: LIMITS.stop });
  options.before?.(drive);
  drive.run(200);
  drive.state = 'safe';
  drive.throttle = 0;
  watch.begin(drive.tick_us);
  const began = drive.tick_us;
  let result: StopResult | null = null;
  let after = 0;
  for (let ms = 1; ms <= (options.ms ?? 10_000) && result === null; ms++) {
    shape(drive, ms);
    drive.row();
    result = watch.step(drive.judge.row);
    after = (drive.tick_us - began) / 1000;
  }
  return { result, after, watch, drive };
}

describe('stop confirmation', () => {
  test('a motor seen to slow down is still 50 ms after speed and current fell below their limits', () => {
    const { result, after, watch } = stopping((d, ms) => {
      d.si.current = 0.1;
      d.si.speed = Math.max(1000, 24_000 - 50 * ms);
    });
    expect(result!.confirmed).toBe(true);
    expect(result!.took_us).toBe(450_000);
    expect(after).toBe(500);
    expect(result!.detail).toMatch(/^Measured still 450 ms after the stop: 0\.1\d* A \(limit 0\.4 A\), 1\d{3}(\.\d)? rpm \(limit 1500 rpm\)\.$/);
    expect(watch.active).toBe(false);
  });

  test('a speed reading that vanishes when it was nearly slow counts as still after 200 ms', () => {
    const { result, after } = stopping((d, ms) => {
      d.si.current = 0.1;
      d.si.speed = ms < 100 ? 4000 : 0;
    });
    expect(result).toMatchObject({ confirmed: true, took_us: 100_000 });
    expect(after).toBe(300);
    expect(result!.detail).toContain('no speed reading');
  });

  test('a speed reading that vanishes at full speed is believed only after half of the allowed time: the motor may coast', () => {
    const { result, after } = stopping((d) => {
      d.si.current = 0.1;
      d.si.speed = 0;
    });
    expect(result!.confirmed).toBe(true);
    expect(after).toBeGreaterThanOrEqual(2000);
    expect(after).toBeLessThan(2010);
  });

  test('a speed sensor that falls silent altogether is no reading either', () => {
    const { result, after } = stopping((d) => {
      d.si.current = 0.1;
      d.silent.add('speed');
    });
    expect(result!.confirmed).toBe(true);
    expect(after).toBeGreaterThanOrEqual(2000);
  });

  test('a motor that never turned is still after 200 ms', () => {
    const { result, after } = stopping((d) => (d.si.current = 0.05), {
      before: (d) => {
        d.si.speed = 0;
        d.si.thrust = 0;
      },
    });
    expect(result).toMatchObject({ confirmed: true });
    expect(after).toBe(201);
  });

  test('without a speed channel low current must last half of the allowed time', () => {
    const { result, after } = stopping((d) => (d.si.current = 0.05), { speed: false });
    expect(result!.confirmed).toBe(true);
    expect(after).toBe(2001);
    expect(result!.detail).toContain('speed not measured');
  });

  const never: [string, (d: Drive, ms: number) => void][] = [
    ['current that stays', (d) => (d.si.speed = 0)],
    ['speed that stays', (d) => (d.si.current = 0.1)],
    ['a current sensor that fell silent', (d) => { d.si.speed = 0; d.si.current = 0.1; d.silent.add('current'); }],
    ['a board that goes on driving', (d) => { d.state = 'driving'; d.throttle = 0.1; d.si.current = 0.1; d.si.speed = 1000; }],
    ['a throttle that is not zero', (d) => { d.throttle = 0.1; d.si.current = 0.1; d.si.speed = 1000; }],
    ['stillness that keeps being broken', (d, ms) => { d.si.current = ms % 40 === 0 ? 0.6 : 0.1; d.si.speed = 1000; }],
  ];
  test.each(never)('%s leaves the stop unconfirmed after the allowed time, with numbers', (_what, shape) => {
    const { result, after } = stopping(shape);
    expect(result!.confirmed).toBe(false);
    expect(after).toBeGreaterThan(4000);
    expect(after).toBeLessThanOrEqual(4060);
    expect(result!.detail).toMatch(/^Not measured still within 4 s: .* A \(limit 0\.4 A\).*Cut the power\.$/);
  });

  test('a stillness that began in time is watched to its end; one that began late does not count', () => {
    const inTime = stopping((d, ms) => {
      d.si.current = ms < 3990 ? 1 : 0.1;
      d.si.speed = 1000;
    });
    expect(inTime.result).toMatchObject({ confirmed: true, took_us: 3_990_000 });
    const late = stopping((d, ms) => {
      d.si.current = ms < 4001 ? 1 : 0.1;
      d.si.speed = 1000;
    });
    expect(late.result!.confirmed).toBe(false);
  });

  test('no row at all is unconfirmed; a second stop does not prolong the first; nothing happens unasked', () => {
    const drive = new Drive();
    const watch = new StopWatch({ current: channel(0), speed: channel(2), limit: LIMITS.stop });
    drive.run(10);
    expect(watch.step(drive.judge.row)).toBeNull();
    watch.begin(drive.tick_us + 1);
    watch.begin(drive.tick_us + 5_000_000);
    expect(watch.step(drive.judge.row)).toBeNull();
    const result = watch.giveUp(drive.judge.row, 5_000_000);
    expect(result).toEqual({ confirmed: false, took_us: 5_000_000, detail: 'Not measured still within 4 s: no row came since. Cut the power.' });
    expect(watch.active).toBe(false);
  });
});
