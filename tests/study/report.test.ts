// Goal: the study's verdict on an analysis is the one that its counts call for, on both sides of each bound.
// Method: made-up seeds with a known share of intervals that hold and of verdicts that are wrong.
import { describe, expect, test } from 'vitest';
import { familyBand } from '../../study/band';
import { report } from '../../study/report';
import { readOptions } from '../../study/options';
import type { SeedLine, ToldContrast } from '../../study/seed';
import type { Truths } from '../../study/truth/truth';

const N = 400;
const linear = (value: number) => ({ values: [value, value], perThrust: 0 });
const TRUTHS: Truths = { torque: [0.9, 1.1], soak: null, settings: { base: { kv_rpm_per_V: linear(100), full_throttle_rpm: linear(1000) }, same: { full_throttle_rpm: linear(1000) }, switching: { full_throttle_rpm: linear(1100) }, timing: {} } };

type Made = { readonly held: number; readonly bounded?: number; readonly nulls?: number; readonly equal?: number };

function seeds({ held, bounded = 0, nulls = 0, equal = 0 }: Made): SeedLine[] {
  const contrast = (value: number, verdict: ToldContrast['verdict']): ToldContrast => ({ value, u: 1, dof: null, lower: value - 2, upper: value + 2, bounded: 1, p: null, verdict });
  return Array.from({ length: N }, (_, i): SeedLine => {
    const value = i < held ? 100 : 103;
    return {
      seed: i + 1, thrustFactor: 1, torqueFactor: 1, currentGain: 0, currentOffset_A: 0, soakPower: 1, reference_rpm: null, repeats: {}, failed: [], cpu_s: 1,
      values: { kv_rpm_per_V: { value, u: 1, dof: null, lower: value - 2, upper: value + 2, bounded } },
      contrasts: {
        same: { full_throttle_rpm: contrast(0, i < nulls ? 'better' : 'open') },
        switching: { full_throttle_rpm: contrast(100, i < equal ? 'same' : 'better') },
        timing: {},
      },
    };
  });
}

const good = (made: Made): boolean => report([{ cell: { article: 'scout', rig: 'default' }, lines: seeds(made), truths: TRUTHS }], readOptions([])).good;

describe('the verdict of the study', () => {
  // Two figures are looked at: the value, and the difference, which always holds.
  const { low, high } = familyBand(N, 0.95, 2);
  const middle = { held: 380 };

  test('an interval that holds as often as it says passes, one that holds too seldom fails', () => {
    expect(good(middle)).toBe(true);
    expect(good({ held: low })).toBe(true);
    expect(good({ held: low - 1 })).toBe(false);
  });

  test('an interval that holds too often is too wide, but for what a bounded error explains by being nothing', () => {
    expect(good({ held: high })).toBe(true);
    expect(good({ held: high + 1 })).toBe(false);
    // 1.96/√(1 − 0.25): P(|z| ≤ 2.263) = 0.9764, from a table of the normal distribution.
    const more = familyBand(N, 0.9764, 2).high;
    expect(more).toBeGreaterThan(high + 1);
    expect(good({ held: more, bounded: 0.25 })).toBe(true);
    expect(good({ held: more + 1, bounded: 0.25 })).toBe(false);
    expect(good({ held: N, bounded: 0.6 })).toBe(true);
  });

  test('figures of several cells are one family: what one cell alone would not allow may pass among many', () => {
    const cell = (made: Made) => ({ cell: { article: 'scout', rig: 'default' } as const, lines: seeds(made), truths: TRUTHS });
    const least = familyBand(N, 0.95, 12).low;
    expect(least).toBeLessThan(low);
    const six = (held: number) => report([{ held }, middle, middle, middle, middle, middle].map(cell), readOptions([])).good;
    expect(six(least)).toBe(true);
    expect(six(least - 1)).toBe(false);
  });

  test('a null called different, or a difference as large as the margin called the same, in more seeds than 5 % give fails', () => {
    const most = familyBand(N, 0.05, 1).high;
    expect(good({ ...middle, nulls: most })).toBe(true);
    expect(good({ ...middle, nulls: most + 1 })).toBe(false);
    expect(good({ ...middle, equal: most })).toBe(true);
    expect(good({ ...middle, equal: most + 1 })).toBe(false);
  });

  test('events of which less than one is expected on a bench are marked as rare and may hold always; more of them are judged, but for an upper end', () => {
    const events = (perRun: number, held: number): SeedLine[] => seeds(middle).map((line, i) => ({
      ...line, values: { ...line.values, desyncs: { value: perRun, u: 0.1, dof: null, lower: i < held ? 0 : perRun + 0.1, upper: perRun + 1, bounded: 0 } },
    }));
    const told = (perRun: number, held: number) => report([{ cell: { article: 'scout', rig: 'default' }, lines: events(perRun, held), truths: TRUTHS }], readOptions([]));
    expect(told(0.24, N).markdown).toContain(`| \`desyncs\` | ${N}/${N} (rare) |`);
    expect(told(0.26, N).markdown).toContain(`| \`desyncs\` | ${N}/${N} |`);
    expect(told(0.24, N).good).toBe(true);
    expect(told(0.24, 300).good).toBe(false);
    expect(told(0.26, 300).good).toBe(false);
  });

  test('no seeds at all are no pass', () => {
    expect(report([{ cell: { article: 'scout', rig: 'default' }, lines: [], truths: TRUTHS }], readOptions([])).good).toBe(false);
  });
});
