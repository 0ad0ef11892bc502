// A campaign from its first run to its last: what is next, what changes before it, the run, what follows from how it ended.
import type { Subject } from 'rxjs';
import { decideAfter, ProgressMeter, type JournalEntry, type NoteKind, type PlannedRun, type Progress } from '../campaign';
import type { Outcome } from '../model/events';
import type { TripCode } from '../model/trip';
import { isSimulated } from '../model/simulated';
import type { OperatorRequest } from '../sequencer/options';
import type { CampaignFolder } from './campaign-folder';
import { Changeover, STOPPED_BY_PERSON, type Halt } from './changeover-run';
import type { RunFigures } from './figures';
import { Notifier } from './notify';
import type { Operator } from './operator';
import { settingText } from './setting-text';
import type { ReadyCampaign, ReadyProtocol } from './prepare';
import { runHeader } from './record-header';
import type { Reporter, SoFar } from './reporter';
import { runOnce, type RunResult } from './run-once';
import { RunWatch } from './run-watch';
import { Stiffness } from './supply-check';
import type { RunningVerdict } from './verdicts';
import type { World } from './world';

/** What happened in one session of a campaign. */
export interface CampaignEnd {
  readonly folder: string;
  /** Outcomes of this session's runs, in order. */
  readonly outcomes: readonly Outcome[];
  readonly planned: number;
  readonly good: number;
  readonly skipped: number;
  /** Why it stopped before its end; null when every run is good or skipped. */
  readonly stopped: string | null;
  /** First cause of the last bad run, when it tripped. */
  readonly trip: TripCode | null;
}

export interface CampaignInput {
  readonly ready: ReadyCampaign;
  readonly world: World;
  readonly folder: CampaignFolder;
  readonly requests: Subject<OperatorRequest>;
  readonly reporter: Reporter;
  readonly operator: Operator;
  /** Called with each good run's record, for figures. */
  readonly figures: (run: PlannedRun, record: string) => RunFigures;
  /** What all figures say so far; asked when a round of runs is over. Nothing when left out. */
  readonly soFar?: () => readonly RunningVerdict[];
  /** Plays one run; `runOnce` when left out. */
  readonly playRun?: typeof runOnce;
}

/** Runs until the plan is done, a person stops it, or something forbids going on. */
export async function runCampaign(input: CampaignInput): Promise<CampaignEnd> {
  return await new Session(input).run();
}

class Session {
  private readonly outcomes: Outcome[] = [];
  private readonly meter: ProgressMeter;
  private readonly changeover: Changeover;
  private readonly notifier: Notifier;
  private readonly stiffness: Stiffness;
  private readonly stopping = new AbortController();
  private stopped: string | null = null;
  private lastTrip: TripCode | null = null;
  /** The board's latch holds this trip. */
  private latched: TripCode | null = null;
  private firstZero_N: number | null = null;
  /** Good runs since the figures were last looked at. */
  private sinceLook = 0;

  constructor(private readonly input: CampaignInput) {
    const { ready, folder, requests, reporter } = input;
    this.stiffness = new Stiffness(ready.rig.sink.kind === 'none' ? null : ready.rig.sink.holds_V);
    this.meter = new ProgressMeter(ready.plan.runs);
    this.meter.takeOver(folder.ledger);
    this.notifier = new Notifier(ready, folder, reporter);
    this.changeover = new Changeover({ ...input, notifier: this.notifier, stopping: this.stopping.signal });
    requests.subscribe((request) => {
      if (request !== 'stop-now') return;
      this.stopped ??= STOPPED_BY_PERSON;
      this.stopping.abort();
    });
  }

  async run(): Promise<CampaignEnd> {
    const { folder, ready } = this.input;
    try {
      while (this.stopped === null) {
        const next = folder.ledger.next();
        if (next.kind === 'complete') break;
        if (next.kind === 'held') this.stopped = next.why;
        else if (next.kind === 'undecided') this.decide(next.ended.run, next.ended.outcome, next.ended.trip, next.ended.detail);
        else await this.one(ready.plan.runs[next.run - 1], next.attempt);
      }
      this.finish();
    } finally {
      await this.notifier.settled();
    }
    return {
      folder: folder.path, outcomes: this.outcomes, planned: ready.plan.runs.length, good: folder.ledger.goodRuns,
      skipped: folder.ledger.skippedCount(), stopped: this.stopped, trip: this.lastTrip,
    };
  }

  /** What a person asked to stop stays stopped until a person resumes; the journal says so. And the end is told. */
  private finish(): void {
    const { folder } = this.input;
    const next = folder.ledger.next();
    // The last word is about everything, also when the last session made less than a round.
    if (this.stopped === null && this.sinceLook > 0) this.look();
    if (this.stopped !== null && next.kind !== 'held' && next.kind !== 'complete') {
      folder.note({ type: 'decided', what: 'stop', by: this.stopping.signal.aborted ? 'person' : 'tool', run: 0, why: this.stopped });
    }
    if (this.stopped !== null && this.latched !== null) return;
    const { goodRuns } = folder.ledger;
    const skipped = folder.ledger.skippedCount();
    this.notifier.tell({
      event: 'finished', run: null, going_on: false,
      detail: this.stopped === null ? `Every run is made: ${goodRuns} good, ${skipped} skipped.` : `Stopped before its end, ${goodRuns} runs good: ${this.stopped}`,
    });
  }

  private async one(run: PlannedRun, attempt: number): Promise<void> {
    const { folder, ready, reporter, world } = this.input;
    const began_us = world.clock.now_us();
    reporter.preparing(this.titleOf(run));
    const halt = await this.changeover.before(run, this.latched);
    this.latched = null;
    if (halt !== null) return this.halt(run, halt);
    const protocol = ready.protocols.get(run.label);
    if (protocol === undefined) throw new Error(`run ${run.index} uses "${run.label}", which is no protocol of the plan`);
    const record = folder.recordFor(run.id, attempt);
    folder.note({ type: 'started', run: run.index, attempt, record: record.name });
    reporter.runStarted(this.titleOf(run));
    const watch = new RunWatch(ready.channels, { voltage_V: this.changeover.supply_V, current_limit_A: ready.rig.supply.current_limit_A });
    const result = await this.play(run, protocol, record.path, watch);
    this.changeover.turned();
    const { outcome, trip, detail } = result.outcome;
    const took_s = (world.clock.now_us() - began_us) / 1e6;
    folder.note({ type: 'ended', run: run.index, attempt, outcome, detail, took_s, ...(trip === null ? {} : { trip: trip.code }) });
    this.outcomes.push(outcome);
    this.lastTrip = trip?.code ?? this.lastTrip;
    // The plan counts hands too, and nobody measures how long a person takes.
    const hands_s = run.changes.filter((c) => c.by === 'operator').reduce((sum, c) => sum + c.takes_s, 0);
    this.meter.ended(run.index, took_s + hands_s, outcome === 'done');
    this.report(run, result, watch);
    if (!result.record.complete) this.stopped ??= `${result.record.path}: the record could not be written whole`;
    if (outcome !== 'done') this.decide(run.index, outcome, trip?.code, detail);
  }

  /** Nothing may follow: written down, so that only a person goes on. */
  private halt(run: PlannedRun, { why, outcome, trip }: Halt): void {
    const { folder, reporter } = this.input;
    if (outcome !== undefined) this.outcomes.push(outcome);
    this.lastTrip = trip ?? this.lastTrip;
    if (this.stopped === null) reporter.note(why);
    this.stopped ??= why;
    const byPerson = why === STOPPED_BY_PERSON;
    folder.note({ type: 'decided', what: 'stop', by: byPerson ? 'person' : 'tool', run: run.index, why });
    if (trip !== undefined) this.notifier.tell({ event: 'tripped', run: run.index, trip, going_on: false, detail: why });
  }

  private async play(run: PlannedRun, protocol: ReadyProtocol, path: string, watch: RunWatch): Promise<RunResult> {
    const { ready, world, reporter, requests } = this.input;
    const { supply_V, propeller } = this.changeover;
    const seed = ready.rig.link.kind === 'twin' ? ready.rig.link.seed : null;
    const listening = [
      world.blocks.subscribe((block) => { watch.block(block); }),
      world.bench.events.subscribe((event) => { watch.event(event); }),
    ];
    world.beginRun();
    try {
      return await (this.input.playRun ?? runOnce)({
        world, protocol, reporter, requests, path, zero_s: ready.campaign.between_runs.zero_s,
        header: runHeader({ ready, protocol, run, supply_V, propeller, seed }), attachments: this.changeover.attachments(),
      });
    } finally {
      world.endRun();
      for (const l of listening) l.unsubscribe();
    }
  }

  /** What is told and kept of a run that has ended: figures, the load cell's zero, the supply. */
  private report(run: PlannedRun, result: RunResult, watch: RunWatch): void {
    const { folder, reporter } = this.input;
    const figures = result.outcome.outcome === 'done' ? this.input.figures(run, result.record.path) : null;
    const zeros = watch.zeros(this.firstZero_N);
    const stiffness = watch.stiffness();
    const remark = (what: NoteKind, data: unknown): JournalEntry => ({ type: 'noted', what, run: run.index, data });
    folder.note(
      // Written even when there is none: a good run without this line was killed before its figures were taken.
      ...(figures !== null ? [remark('figures', figures.values)] : []),
      ...(zeros.before_N === null ? [] : [remark('zero', zeros)]),
      ...(stiffness === null ? [] : [remark('supply', stiffness)]),
    );
    this.firstZero_N ??= zeros.before_N;
    reporter.runEnded({
      title: this.titleOf(run), outcome: result.outcome, record: result.record.path, duration_s: result.duration_s,
      closest: result.outcome.closest, figures: figures?.text ?? '',
    });
    for (const text of this.stiffness.take(run.label, stiffness)) reporter.note(text);
    reporter.progress(this.progress());
    this.sinceLook += figures === null ? 0 : 1;
    if (this.roundIsOver(run)) this.look();
  }

  /** A block has ended, and since the last look as many runs were good as make each setting with each protocol once. */
  private roundIsOver(run: PlannedRun): boolean {
    const { plan, protocols } = this.input.ready;
    return plan.runs[run.index]?.block !== run.block && this.sinceLook >= plan.settings.length * protocols.size;
  }

  private look(): void {
    const { folder, ready, reporter, soFar } = this.input;
    this.sinceLook = 0;
    const verdicts = soFar?.() ?? [];
    if (verdicts.length === 0) return;
    const found: SoFar = { good: folder.ledger.goodRuns, of: ready.plan.runs.length, verdicts };
    folder.remark('so-far', 0, found);
    reporter.soFar(found);
  }

  private progress(): Progress {
    return this.meter.reading(this.input.folder.ledger);
  }

  private titleOf(run: PlannedRun) {
    const { ready } = this.input;
    return { index: run.index, of: ready.plan.runs.length, protocol: run.label, setting: settingText(run.setting), repeat: run.repeat, mounting: ready.plan.mountings > 1 ? run.mounting : null, simulated: isSimulated(ready.rig) };
  }

  private decide(run: number, outcome: Outcome, trip: TripCode | undefined, detail: string | undefined): void {
    const { folder, ready, reporter } = this.input;
    const { retry_once, skip_setting } = ready.campaign.on_trip;
    const decision = decideAfter({ run, outcome, trip, detail }, { retry_once, skip_setting }, folder.ledger);
    if (decision.what === 'go-on') return;
    folder.note({ type: 'decided', what: decision.what, by: 'tool', run, why: decision.why });
    reporter.note(decision.why);
    this.latched = trip ?? null;
    if (decision.what === 'skip-setting') {
      const setting = ready.plan.runs[run - 1].setting.id;
      for (const r of ready.plan.runs) if (r.setting.id === setting && !folder.ledger.isGood(r.index)) this.meter.leave(r.index);
    }
    if (decision.what === 'stop') this.stopped ??= decision.why;
    if (outcome === 'tripped') this.notifier.tell({ event: 'tripped', run, ...(trip === undefined ? {} : { trip }), going_on: this.stopped === null, detail: decision.why });
  }
}
