// Goal: rules about time that are stepped only when due trip at the same row, with the same words, as when stepped every row.
// Method: random runs (seeded) fed to two judges, one of which is made to step every rule on every row; limits small, so that both sides of each are met.
import { describe, expect, test } from 'vitest';
import type { RigLimits } from '../../src/model/files/rig';
import type { SampleBlock } from '../../src/model/sample';
import { closestApproaches } from '../../src/safety/closest';
import { advance, beginRun, brokenNow, startJudge, type JudgeSetup, type JudgeState } from '../../src/safety/judge';
import { OPEN_LATCH } from '../../src/safety/latch';
import { SEGMENT_MARGIN_US } from '../../src/safety/rules/time';
import { Rng } from '../../src/twin/physics/rng';
import { Drive, LIMITS, SETUP } from './build';

/** A judge whose time rules are never skipped. */
class EveryRow {
  readonly state: JudgeState;

  constructor(setup: JudgeSetup) {
    this.state = startJudge(setup);
  }

  advance(block: SampleBlock): ReturnType<typeof advance> {
    this.state.rules.pace.due_us = -Infinity;
    return advance(this.state, block, 0);
  }
}

/** Which rules are broken, a letter each: cheap enough for every row. */
function flags(state: JudgeState): string {
  return state.rules.all.map((rule) => (rule.broken ? 'B' : '-')).join('');
}

/** Everything that a judge shows of a row. */
function shown(state: JudgeState): unknown {
  return { broken: brokenNow(state), desync: state.desync, closest: closestApproaches(state), count: state.rules.rotation?.count ?? null };
}

class Twins {
  readonly drive: Drive;
  readonly every: EveryRow;
  private rows = 0;

  constructor(over: Partial<RigLimits>) {
    const setup: JudgeSetup = { ...SETUP, limits: { ...LIMITS, ...over } };
    this.drive = new Drive(startJudge(setup));
    this.every = new EveryRow(setup);
  }

  get judges(): readonly JudgeState[] {
    return [this.drive.judge, this.every.state];
  }

  begin(bound_s: number, segments_us: readonly number[]): void {
    for (const state of this.judges) {
      state.rules.bounds.clear();
      segments_us.forEach((us, i) => state.rules.bounds.set(i + 1, us));
      beginRun(state, bound_s);
    }
  }

  /** A trip is not the end here: the latch opens again, so that what comes after it is compared as well. */
  row(): readonly string[] {
    this.drive.tick_us += this.drive.row_us;
    const block = this.drive.block();
    const trips = advance(this.drive.judge, block, 0);
    const again = this.every.advance(block);
    const where = `row at ${this.drive.tick_us} µs`;
    if (flags(this.drive.judge) !== flags(this.every.state)) expect(flags(this.drive.judge), where).toBe(flags(this.every.state));
    if (trips !== null || again !== null) expect(trips, where).toEqual(again);
    if (trips !== null || this.rows++ % 20 === 0) expect(shown(this.drive.judge), where).toEqual(shown(this.every.state));
    if (trips === null) return [];
    for (const state of this.judges) state.latch = OPEN_LATCH;
    return trips.map((t) => t.code);
  }
}

const chance = (rng: Rng, p: number): boolean => rng.uniform() < p;
const among = (rng: Rng, n: number): number => Math.floor(rng.uniform() * n);

/** Limits of a few rows, also fractions of one and values that binary fractions of a second cannot hold. */
function randomLimits(rng: Rng): Partial<RigLimits> {
  const short = (): number => [0.007, 0.0125, 0.02, 0.0297, 0.057][among(rng, 5)];
  return {
    stall: chance(rng, 0.2) ? null : { current_A: 3, for_s: short() },
    desync: chance(rng, 0.2) ? null : { sustained_s: short(), count: among(rng, 4) },
    host_silence_s: short(),
    longest_run_s: [0.05, 0.113, 0.3, 5][among(rng, 4)],
    sensor_frozen_s: null, mismatch: null, trend: null,
  };
}

function perturb(rng: Rng, drive: Drive): void {
  if (chance(rng, 0.02)) drive.state = drive.state === 'driving' ? 'ready' : 'driving';
  if (chance(rng, 0.01)) drive.state = chance(rng, 0.5) ? 'safe' : 'driving';
  if (chance(rng, 0.02)) drive.ordinal = 1 + among(rng, 4);
  if (chance(rng, 0.05)) drive.si.speed = drive.si.speed > 0 ? 0 : 24_000;
  if (chance(rng, 0.03)) drive.si.current = drive.si.current > 3 ? 2 : 4;
  if (chance(rng, 0.02)) drive.throttle = [0, 0.02, 0.3, 0.5][among(rng, 4)];
  if (chance(rng, 0.01)) drive.row_us = [125, 1000, 1000, 2500][among(rng, 4)];
  if (chance(rng, 0.005)) drive.tick_us += 1000 * among(rng, 120);
}

describe('time rules that wait until they are due', () => {
  test('say the same as when stepped every row, over random runs, re-begun runs and limits', () => {
    const rng = new Rng(20, 1);
    const codes = new Map<string, number>();
    for (let round = 0; round < 60; round++) {
      const twins = new Twins(randomLimits(rng));
      for (let run = 0; run < 4; run++) {
        twins.begin([0.03, 0.1, 0.251, Infinity][among(rng, 4)], [0, 1, 2].map(() => 1000 * among(rng, 80) + 0.5 * among(rng, 2)));
        for (let k = 0; k < 250; k++) {
          perturb(rng, twins.drive);
          for (const code of twins.row()) codes.set(code, (codes.get(code) ?? 0) + 1);
        }
      }
    }
    for (const code of ['STALL', 'DESYNC_SUSTAINED', 'DESYNC_COUNT', 'LINK_LOST', 'SEGMENT_TIMEOUT', 'PROTOCOL_TIMEOUT', 'LONGEST_RUN'])
      expect(codes.get(code) ?? 0, code).toBeGreaterThan(20);
  });

  /** Rows of 1 ms; returns the row, counted from 1, with which `code` comes, 0 when it does not within 400. */
  function rowOf(twins: Twins, code: string): number {
    for (let row = 1; row <= 400; row++) if (twins.row().includes(code)) return row;
    return 0;
  }

  test.each([
    ['a stall, at its time exactly', { stall: { current_A: 3, for_s: 0.02 } }, 'STALL', 21],
    ['a stall, one row after a time between two rows', { stall: { current_A: 3, for_s: 0.0201 } }, 'STALL', 22],
    ['a run, one row after its longest time', { longest_run_s: 0.05, stall: null }, 'LONGEST_RUN', 52],
    ['a run, with the row after a longest time between two rows', { longest_run_s: 0.0505, stall: null }, 'LONGEST_RUN', 52],
  ] as const)('end %s', (_, limits, code, row) => {
    const twins = new Twins({ ...limits, desync: null });
    twins.begin(Infinity, []);
    twins.drive.si.speed = 0;
    expect(rowOf(twins, code)).toBe(row);
  });

  test('end a segment and a protocol one row after their bounds, again in a run begun anew while driving', () => {
    for (let again = 0; again < 2; again++) {
      const twins = new Twins({ stall: null, desync: null });
      for (let run = 0; run <= again; run++) {
        twins.begin(Infinity, [20_000]);
        expect(rowOf(twins, 'SEGMENT_TIMEOUT'), 'segment').toBe(1 + (20_000 + SEGMENT_MARGIN_US) / 1000 + 1);
        twins.begin(0.03, [Infinity]);
        expect(rowOf(twins, 'PROTOCOL_TIMEOUT'), 'protocol').toBe(1 + 30 + 1);
      }
    }
  });
});
