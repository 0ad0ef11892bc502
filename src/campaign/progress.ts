// How far a campaign has come, how long it still takes, and when hands are next needed.
import { titleOf } from './changeover';
import type { Ledger } from './resume';
import type { PlannedRun } from './plan';

export interface Progress {
  readonly of: number;
  readonly good: number;
  readonly skipped: number;
  /** Run that is next or under way, null when complete. */
  readonly run: number | null;
  /** Bench time still to come, s, corrected by what finished runs really took. */
  readonly left_s: number;
  /** Seconds that a run takes longer (or shorter) than planned, of late. */
  readonly excess_s: number;
  readonly nextHands: NextHands | null;
}

export interface NextHands {
  readonly run: number;
  /** Bench time until then, s. */
  readonly in_s: number;
  readonly what: readonly string[];
}

/** Weight of the newest run once there are enough of them for it to matter. */
const NEWEST = 0.1;

/**
 * Keeps count. Feed it each finished run; ask at any time. A reading costs the same however long the campaign is.
 */
export class ProgressMeter {
  private readonly until: Float64Array;
  private readonly handsFrom: Int32Array;
  private finished = 0;
  private excess_s = 0;
  /** Planned time of runs that are neither good nor skipped. */
  private planned_s: number;
  private readonly gone: Uint8Array;
  private goneCount = 0;

  constructor(private readonly runs: readonly PlannedRun[]) {
    const n = runs.length;
    this.gone = new Uint8Array(n + 1);
    this.until = new Float64Array(n + 1);
    this.handsFrom = new Int32Array(n + 2);
    for (let i = 0; i < n; i++) this.until[i + 1] = this.until[i] + runs[i].before_s + runs[i].duration_s;
    for (let i = n; i >= 1; i--) this.handsFrom[i] = runs[i - 1].needsHands ? i : this.handsFrom[i + 1];
    this.planned_s = this.until[n];
  }

  /** Takes over what an earlier session did. */
  takeOver(ledger: Ledger): void {
    for (let run = 1; run <= this.runs.length; run++) if (ledger.isGood(run) || ledger.isSkipped(run)) this.leave(run);
  }

  /**
   * A run has ended. @param took_s bench time from the end of the run before, waiting for a person left out.
   * @param over it will not be made again.
   */
  ended(run: number, took_s: number, over: boolean): void {
    const planned = this.until[run] - this.until[run - 1];
    this.finished++;
    this.excess_s += (took_s - planned - this.excess_s) * Math.max(NEWEST, 1 / this.finished);
    if (over) this.leave(run);
  }

  /** A run will not be made: its setting is skipped. */
  leave(run: number): void {
    if (this.gone[run] === 1) return;
    this.gone[run] = 1;
    this.goneCount++;
    this.planned_s -= this.until[run] - this.until[run - 1];
  }

  reading(ledger: Ledger): Progress {
    const next = ledger.next();
    const run = next.kind === 'run' ? next.run : next.kind === 'complete' ? null : next.kind === 'held' ? next.run || null : next.ended.run;
    const left = this.runs.length - this.goneCount;
    return {
      of: this.runs.length, good: ledger.goodRuns, skipped: ledger.skippedCount(), run,
      left_s: Math.max(0, this.planned_s + left * this.excess_s), excess_s: this.excess_s,
      nextHands: run === null ? null : this.handsAfter(run),
    };
  }

  private handsAfter(run: number): NextHands | null {
    const at = this.handsFrom[run];
    if (at === 0) return null;
    const until_s = this.until[at - 1] - this.until[run - 1] + (at - run) * this.excess_s;
    const byHand = this.runs[at - 1].changes.filter((c) => c.by === 'operator');
    return { run: at, in_s: Math.max(0, until_s), what: byHand.map(titleOf) };
  }
}

/** A figure of a setting as it stands: mean of its repeats so far and the latest. Not a verdict. */
export interface RunningFigure {
  readonly unit: string;
  readonly n: number;
  readonly mean: number;
  readonly latest: number;
}

/** Latest figures per setting while a campaign runs. Baseline runs are kept apart by whoever calls. */
export class FigureBoard {
  private readonly bySetting = new Map<string, Map<string, RunningFigure>>();

  /** @throws RangeError for a value that is not finite, so that no figure quietly turns into nothing. */
  note(setting: string, figure: string, value: number, unit: string): void {
    if (!Number.isFinite(value)) throw new RangeError(`${figure} of ${setting} is ${value}; leave out a figure that could not be found.`);
    const figures = this.bySetting.get(setting) ?? new Map<string, RunningFigure>();
    const before = figures.get(figure);
    const n = (before?.n ?? 0) + 1;
    const mean = before === undefined ? value : before.mean + (value - before.mean) / n;
    figures.set(figure, { unit, n, mean, latest: value });
    this.bySetting.set(setting, figures);
  }

  of(setting: string): ReadonlyMap<string, RunningFigure> {
    return this.bySetting.get(setting) ?? new Map<string, RunningFigure>();
  }

  settings(): readonly string[] {
    return [...this.bySetting.keys()];
  }
}
