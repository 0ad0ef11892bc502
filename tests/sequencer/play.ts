// Plays steps on a fake bench and gathers everything that can be asserted about the run.
import { Subject, type Subscription } from 'rxjs';
import type { RunOutcome } from '../../src/model/events';
import type { Ask, Mark, ProtocolSteps, Segment, Step } from '../../src/model/segment';
import type { OperatorRequest, RunOptions, RunProgress } from '../../src/sequencer/options';
import { runProtocol } from '../../src/sequencer/sequencer';
import { FAKE_CHANNELS, FakeBench, type FakeHabits, FakeLog } from './fake-bench';

export interface Play {
  readonly bench: FakeBench;
  readonly log: FakeLog;
  readonly requests: Subject<OperatorRequest>;
  readonly progress: RunProgress[];
  readonly subscription: Subscription;
  readonly outcome: () => RunOutcome;
  readonly completed: () => boolean;
  /** Virtual time at which the outcome arrived, ms. */
  readonly ended_ms: () => number;
}

export interface PlayOptions {
  readonly habits?: Partial<FakeHabits>;
  readonly fails?: ConstructorParameters<typeof FakeLog>[1];
  readonly options?: Partial<RunOptions>;
  /** Set up before the run is subscribed to, e.g. to say something at a time. */
  readonly before?: (bench: FakeBench, requests: Subject<OperatorRequest>) => void;
  readonly until_ms?: number;
}

export function level(throttle: number, duration_s: number, label = `level ${throttle}`): Segment {
  return { kind: 'level', throttle, duration_s, label, role: 'level' };
}
export function rest(duration_s: number): Segment {
  return { kind: 'rest', duration_s, label: 'rest', role: 'rest' };
}
export const mark = (label: string): Mark => ({ kind: 'mark', label });
export const ask = (over_s: number, channel: Ask['channel'] = 'current'): Ask => ({ kind: 'ask', channel, over_s });

export function* stepsOf(...steps: readonly Step[]): ProtocolSteps {
  yield* steps;
}

/** Three levels of 100, 200 and 300 ms. */
export const three = (): ProtocolSteps => stepsOf(level(0.1, 0.1, 'one'), level(0.2, 0.2, 'two'), level(0.3, 0.3, 'three'));

export function play(steps: ProtocolSteps, o: PlayOptions = {}): Play {
  const bench = new FakeBench();
  Object.assign(bench.habits, o.habits);
  const log = new FakeLog(bench.story, o.fails);
  const requests = new Subject<OperatorRequest>();
  const progress: RunProgress[] = [];
  let completed = false;
  let ended_ms = NaN;
  o.before?.(bench, requests);
  const run = runProtocol(steps, { bench, clock: bench.clock, log }, { bound_s: 10, planned_s: [0.1, 0.2, 0.3], channels: FAKE_CHANNELS, requests, ...o.options });
  const subscription = run.subscribe({
    next: (p) => {
      progress.push(p);
      if (p.outcome !== null) ended_ms = bench.scheduler.now();
    },
    complete: () => (completed = true),
    error: (error: unknown) => {
      throw error instanceof Error ? error : new Error(String(error));
    },
  });
  bench.runTo(o.until_ms ?? 60_000);
  return {
    bench, log, requests, progress, subscription, completed: () => completed, ended_ms: () => ended_ms,
    outcome: () => {
      const outcome = progress.at(-1)?.outcome;
      if (outcome === undefined || outcome === null) throw new Error(`no outcome; story: ${bench.story.join(', ')}`);
      return outcome;
    },
  };
}
