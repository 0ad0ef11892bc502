// Goal: a truth is the one of the bench that was drawn: its mounting, and for a soak the power that really flowed.
// Method: made-up tables whose values in between can be told by hand.
import { describe, expect, test } from 'vitest';
import { soakValue, type SoakTable } from '../../study/truth/soak-table';
import { timeBelow, type Trace } from '../../study/truth/trace';
import { NOMINAL, trueValue, type Truths } from '../../study/truth/truth';

// 10 + 2·(torque − 1)·100 + a bend in power at 1: slope 3 below, 1 above, per hundredth.
const rise = (torque: number, power: number): number => 10 + 200 * (torque - 1) + (power < 1 ? 300 : 100) * (power - 1);
const TORQUE = [0.98, 1, 1.02];
const POWER = [0.99, 1, 1.01];
const TABLE: SoakTable = { torque: TORQUE, power: POWER, values: { settled_rise_K: TORQUE.map((t) => POWER.map((p) => rise(t, p))) } };

describe('the truth of a soak', () => {
  const at = (torqueFactor: number, power: number) => soakValue(TABLE, 'settled_rise_K', { torqueFactor, power });

  test('is that of the node there, on a straight line between nodes, and goes on beyond the last', () => {
    expect(at(1, 1)).toBe(10);
    expect(at(0.98, 0.99)).toBeCloseTo(rise(0.98, 0.99), 12);
    expect(at(1.005, 0.995)).toBeCloseTo(10 + 1 - 1.5, 12);
    expect(at(1.005, 1.005)).toBeCloseTo(10 + 1 + 0.5, 12);
    expect(at(1.04, 0.97)).toBeCloseTo(10 + 8 - 9, 12);
  });

  test('is unknown for what is no figure of a soak', () => {
    expect(soakValue(TABLE, 'kv_rpm_per_V', { torqueFactor: 1, power: 1 })).toBeNull();
  });
});

describe('the truth of a metric on a bench', () => {
  const truths: Truths = { torque: [0.98, 1, 1.01], settings: { base: { hold_rpm: { values: [103, 100, 99.8], perThrust: 10 } }, switching: {} }, soak: TABLE };
  const bench = { thrustFactor: 1.01, torqueFactor: 1.005, soakPower: 0.995 };

  test('goes with the mounting, for a soak with torque and with the power that flowed', () => {
    expect(trueValue(truths, 'base', 'hold_rpm', bench)).toBeCloseTo(100 + 0.1 - 0.1, 12);
    expect(trueValue(truths, 'base', 'hold_rpm', { ...bench, torqueFactor: 0.99 })).toBeCloseTo(100 + 0.1 + 1.5, 12);
    expect(trueValue(truths, 'base', 'hold_rpm', NOMINAL)).toBe(100);
    expect(trueValue(truths, 'base', 'settled_rise_K', bench)).toBeCloseTo(9.5, 12);
  });

  test('is null where the study knows none: another setting, no soak, no such metric', () => {
    expect(trueValue(truths, 'switching', 'settled_rise_K', bench)).toBeNull();
    expect(trueValue({ ...truths, soak: null }, 'base', 'settled_rise_K', bench)).toBeNull();
    expect(trueValue(truths, 'nowhere', 'hold_rpm', bench)).toBeNull();
  });
});

describe('the time below a level', () => {
  const begin_us = [0, 1000, 2000, 3000, 4000];
  const trace = { begin_us, end_us: begin_us.map((t) => t + 1000) } as unknown as Trace;
  const below = (column: number[], level: number, from = 1, to = 5): number => timeBelow(trace, column, level, from, to);

  test('is told to the part of a tick, up and down', () => {
    expect(below([0, 1, 2, 3, 4], 2.25)).toBeCloseTo(2250, 9);
    expect(below([4, 3, 2, 1, 0], 2.25)).toBeCloseTo(2250, 9);
    expect(below([4, 3, 2, 1, 0], 2.25, 2, 4)).toBeCloseTo(1250, 9);
    expect(below([5, 5, 5, 5, 5], 2)).toBe(0);
    expect(below([1, 1, 1, 1, 1], 2)).toBe(4000);
  });

  test('counts a dip on the way once more', () => {
    expect(below([0, 2, 0, 2, 4], 1)).toBeCloseTo(500 + 500 + 500, 9);
  });
});
