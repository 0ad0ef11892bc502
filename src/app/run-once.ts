// One run: record opened, protocol played under the supervisor, outcome written, record closed.
import { Subject, type Observable } from 'rxjs';
import type { RunOutcome } from '../model/events';
import type { Trip } from '../model/trip';
import type { ClosedRecord, RecordFile } from '../record/file-writer';
import { openRecord, type OpenOptions } from '../record/file-writer';
import type { RecordAttachment, RunHeader } from '../record/header';
import { runProtocol } from '../sequencer/sequencer';
import type { OperatorRequest, RunProgress } from '../sequencer/options';
import type { RunLog } from '../sequencer/ports';
import { walk } from '../protocols/walk';
import type { ReadyProtocol } from './prepare';
import { LimitingMarks } from './limiting-marks';
import { liveReading } from './live';
import type { Reporter } from './reporter';
import { supplySetting } from './run-watch';
import type { World } from './world';
import { withZeros } from './zeros';

export interface RunOnceInput {
  readonly world: World;
  readonly protocol: ReadyProtocol;
  readonly header: RunHeader;
  readonly attachments: readonly RecordAttachment[];
  readonly path: string;
  /** How the record's file is opened: tests pass a disk that fills up. */
  readonly open?: OpenOptions;
  readonly zero_s: number;
  readonly requests: Observable<OperatorRequest>;
  readonly reporter: Reporter;
}

export interface RunResult {
  readonly outcome: RunOutcome;
  readonly record: ClosedRecord;
  readonly duration_s: number;
}

/** Extra time over the sum of all bounds before a protocol counts as stuck, s. */
const BOUND_SLACK_S = 2;

/**
 * Plays a protocol once and records it.
 * @throws CannotRecord when the record cannot even be opened; nothing has turned then
 */
export async function runOnce(input: RunOnceInput): Promise<RunResult> {
  const { world, protocol, reporter } = input;
  const flush = world.recordFlush_us === undefined ? {} : { flush_us: world.recordFlush_us };
  const file = openRecord(input.path, input.header, input.attachments, { ...flush, ...input.open });
  try {
    const planned = walk(withZeros(protocol.prepared.steps(), input.zero_s));
    const start_us = world.clock.now_us();
    const last = await play(input, file, {
      bound_s: planned.duration_s + BOUND_SLACK_S,
      planned_s: planned.segments.map((w) => w.segment.duration_s),
    });
    const outcome = last.outcome;
    if (outcome === null) throw new Error(`the run ended in state ${last.state} without an outcome`);
    reporter.segment('', planned.segments.length, planned.segments.length, 0);
    const record = file.close();
    return { outcome: record.complete ? outcome : withoutRecord(outcome, file.failure?.message ?? ''), record, duration_s: (world.clock.now_us() - start_us) / 1e6 };
  } finally {
    file.close();
  }
}

/** A run whose record is not whole is never a good one, however it was played. */
function withoutRecord(outcome: RunOutcome, why: string): RunOutcome {
  if (outcome.outcome !== 'done' && outcome.outcome !== 'finished-early') return outcome;
  const trip: Trip = {
    code: 'CANNOT_RECORD', by: 'station', tick_us: 0, value: null, limit: null, unit: '', channel: null, ordinal: 0, detail: `the end of the record could not be written: ${why}`,
  };
  return { ...outcome, outcome: 'tripped', trip, detail: `${outcome.detail} Its record is not whole: ${why}.` };
}

async function play(input: RunOnceInput, file: RecordFile, times: { bound_s: number; planned_s: readonly number[] }): Promise<RunProgress> {
  const { world, reporter } = input;
  const channels = input.header.channels;
  const finished = new Subject<void>();
  const marks = new LimitingMarks(channels, supplySetting(input.header));
  const log: RunLog = {
    block: (block) => {
      file.block(block);
      for (const mark of marks.take(block)) file.event(mark);
      reporter.live(() => liveReading(block, channels));
    },
    event: (event) => {
      file.event(event);
      reporter.event(event);
    },
    outcome: (outcome) => file.outcome(outcome),
  };
  let last: RunProgress | null = null;
  let failure: unknown = null;
  const subscription = runProtocol(
    withZeros(input.protocol.prepared.steps(), input.zero_s),
    { bench: world.bench, clock: world.clock, log },
    { ...times, channels, requests: input.requests },
  ).subscribe({
    next: (progress) => {
      last = progress;
      reporter.segment(progress.label, progress.ordinal, progress.of, progress.time_left_s);
    },
    error: (error: unknown) => { failure = error; finished.complete(); },
    complete: () => finished.complete(),
  });
  try {
    await world.playUntil(() => subscription.closed);
  } finally {
    subscription.unsubscribe();
  }
  if (failure !== null) throw failure instanceof Error ? failure : new Error('the sequencer failed', { cause: failure });
  if (last === null) throw new Error('the sequencer ended without a word');
  return last;
}
