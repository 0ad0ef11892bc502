// Goal: the digital throttle frame is the one that speed controllers understand, and no throttle is ever a command.
// Method: worked frames of the trade (common practice, no published source; the worked value from memory), and every raw throttle.
import { describe, expect, test } from 'vitest';
import { frameValue, throttleFrame } from '../../src/controller/throttle-frame';

describe('frame', () => {
  test.each([[1046, 0, 0, 0x82c6], [48, 0, 0, 0x0606], [2047, 0, 0, 0xffee], [1046, 0, 1, 0x82c9]])('value %i, telemetry %i, inverted %i', (value, telemetry, inverted, frame) => {
    expect(throttleFrame(value, telemetry, inverted)).toBe(frame);
  });

  test('one wrong bit never passes the checksum', () => {
    const check = (frame: number): number => { const b = frame >> 4; return (b ^ (b >> 4) ^ (b >> 8)) & 0xf; };
    for (const value of [0, 48, 1046, 2047]) {
      const frame = throttleFrame(value, 1, 0);
      expect(check(frame)).toBe(frame & 0xf);
      for (let bit = 0; bit < 16; bit++) { const bad = frame ^ (1 << bit); expect(check(bad)).not.toBe(bad & 0xf); }
    }
  });
});

test('stop is 0, the least throttle 48, full 2047, it never falls on the way and never is a command', () => {
  expect([-5, 0, 1, 10_000, 10_001].map(frameValue)).toEqual([0, 0, 48, 2047, 2047]);
  for (let raw = 1; raw <= 10_000; raw++) {
    expect(frameValue(raw)).toBeGreaterThanOrEqual(raw === 1 ? 48 : frameValue(raw - 1));
  }
});
