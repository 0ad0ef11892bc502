// A campaign from its first run to its last: what is next, what changes before it, the run, what follows from how it ended.
import { Subject } from 'rxjs';
import { changeover, decideAfter, MOUNTING, ProgressMeter, PROPELLER, recordStem, type PlannedRun, type Step } from '../campaign';
import { join } from '../host/files';
import type { Outcome } from '../model/events';
import type { TripCode } from '../model/trip';
import type { OperatorRequest } from '../sequencer/options';
import { CampaignFolder } from './campaign-folder';
import { settingText } from './plan-file';
import type { ReadyCampaign, ReadyProtocol } from './prepare';
import { attachmentsOf, runHeader } from './record-header';
import type { Reporter } from './reporter';
import { runOnce, type RunResult } from './run-once';
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
  /** Called with each good run's record, for figures; what it returns is shown beside the run. */
  readonly figures: (run: PlannedRun, record: string) => string;
}

/** Runs until the plan is done, a person stops it, or something forbids going on. */
export async function runCampaign(input: CampaignInput): Promise<CampaignEnd> {
  return await new Session(input).run();
}

class Session {
  private readonly outcomes: Outcome[] = [];
  private readonly meter: ProgressMeter;
  private stopped: string | null = null;
  private lastTrip: TripCode | null = null;
  private supply_V: number;
  private propeller: boolean;
  private afterRun = false;
  private lastTurned_us = -Infinity;

  constructor(private readonly input: CampaignInput) {
    const { ready, folder, requests } = input;
    this.meter = new ProgressMeter(ready.plan.runs);
    this.meter.takeOver(folder.ledger);
    this.supply_V = ready.article.nominal_voltage_V;
    this.propeller = ready.article.propeller.mounted;
    requests.subscribe((request) => {
      if (request === 'stop-now') this.stopped ??= 'stopped by the operator';
    });
  }

  async run(): Promise<CampaignEnd> {
    const { folder, ready } = this.input;
    while (this.stopped === null) {
      const next = folder.ledger.next();
      if (next.kind === 'complete') break;
      if (next.kind === 'held') this.stopped = next.why;
      else if (next.kind === 'undecided') this.decide(next.ended.run, next.ended.outcome, next.ended.trip, next.ended.detail);
      else await this.one(ready.plan.runs[next.run - 1], next.attempt);
    }
    return {
      folder: folder.path, outcomes: this.outcomes, planned: ready.plan.runs.length, good: folder.ledger.goodRuns,
      skipped: folder.ledger.skippedCount(), stopped: this.stopped, trip: this.lastTrip,
    };
  }

  private async one(run: PlannedRun, attempt: number): Promise<void> {
    const { folder, ready, reporter, world } = this.input;
    const began_us = world.clock.now_us();
    await this.prepare(run);
    if (this.stopped !== null) return;
    const stem = recordStem(run.id, attempt);
    const protocol = ready.protocols.get(run.label);
    if (protocol === undefined) throw new Error(`run ${run.index} uses "${run.label}", which is no protocol of the plan`);
    folder.note({ type: 'started', run: run.index, attempt, record: join('runs', `${stem}.mcap`) });
    const title = { index: run.index, of: ready.plan.runs.length, protocol: run.label, setting: settingText(run.setting), repeat: run.repeat, simulated: ready.rig.link.kind === 'twin' };
    reporter.runStarted(title);
    world.beginRun();
    const result = await this.play(run, protocol, stem);
    world.endRun();
    this.afterRun = true;
    this.lastTurned_us = world.clock.now_us();
    const { outcome, trip, detail } = result.outcome;
    folder.note({ type: 'ended', run: run.index, attempt, outcome, detail, ...(trip === null ? {} : { trip: trip.code }) });
    this.outcomes.push(outcome);
    this.lastTrip = trip?.code ?? this.lastTrip;
    this.meter.ended(run.index, (world.clock.now_us() - began_us) / 1e6, outcome === 'done');
    const figures = outcome === 'done' ? this.input.figures(run, result.record.path) : '';
    reporter.runEnded({ title, outcome: result.outcome, record: result.record.path, duration_s: result.duration_s, closest: result.outcome.closest, figures });
    reporter.left(this.meter.reading(folder.ledger).left_s);
    if (!result.record.complete) this.stopped ??= `${result.record.path}: the record could not be written whole`;
    if (outcome !== 'done') this.decide(run.index, outcome, trip?.code, detail);
  }

  private play(run: PlannedRun, protocol: ReadyProtocol, stem: string): Promise<RunResult> {
    const { ready, world, folder, reporter, requests } = this.input;
    const seed = ready.rig.link.kind === 'twin' ? ready.rig.link.seed : null;
    return runOnce({
      world, protocol, reporter, requests, path: folder.recordPath(stem), zero_s: ready.campaign.between_runs.zero_s,
      header: runHeader({ ready, protocol, run, supply_V: this.supply_V, propeller: this.propeller, seed }), attachments: attachmentsOf(ready),
    });
  }

  /** Everything between two runs, written down before and after it is done. */
  private async prepare(run: PlannedRun): Promise<void> {
    const { folder, ready, world } = this.input;
    const steps = changeover({
      next: run, inPlace: folder.ledger.inPlace(), between: ready.campaign.between_runs, means: {}, afterRun: this.afterRun,
      idle_s: (world.clock.now_us() - this.lastTurned_us) / 1e6,
      ...(folder.ledger.retriesOf(run.index) > 0 && this.lastTrip !== null ? { trip: this.lastTrip } : {}),
    });
    const wanted = Object.fromEntries(run.conditions.filter((c) => folder.ledger.inPlace()[c.name] !== c.to).map((c) => [c.name, c.to]));
    const changing = Object.keys(wanted).length > 0;
    if (changing) folder.note({ type: 'changing', run: run.index, conditions: wanted });
    for (const step of steps) if (this.stopped === null) await this.carryOut(step);
    if (changing && this.stopped === null) folder.note({ type: 'changed', run: run.index, conditions: wanted });
  }

  private async carryOut(step: Step): Promise<void> {
    const { world, reporter } = this.input;
    switch (step.step) {
      case 'supply':
        this.supply_V = step.voltage_V;
        await world.setSupply(step.voltage_V);
        await world.playUntil(() => this.stopped !== null, this.input.ready.rig.supply.settle_s);
        return;
      case 'rig':
        for (const [name, to] of Object.entries(step.parameters)) await this.setParameter(name, to.text, to.value);
        return;
      case 'cool':
        await this.cool(step.motor_degC, step.esc_degC, step.within_s);
        return;
      case 'rest':
        await world.playUntil(() => this.stopped !== null, step.for_s);
        return;
      case 're-arm': {
        const reasons = await world.clearTrip(`${step.after} is listed in on_trip of the campaign file`);
        if (reasons.length > 0) this.stopped = `the trip ${step.after} cannot be cleared: ${reasons.join('; ')}`;
        else reporter.note(`Trip ${step.after} cleared, as the campaign file lists it.`);
        return;
      }
      // The zero of the load cell is part of each run's record; the permit is asked for by the sequencer when it arms.
      case 'zero':
      case 'check-supply':
      case 'log-environment':
      case 'permit':
        return;
      case 'safe-for-hands':
      case 'hands':
      case 'hands-off':
      case 'command':
      case 'pre-warm':
      case 'start-check':
        throw new Error(`"${step.step}" was planned although this version refuses it`);
    }
  }

  private async setParameter(name: string, text: string, value: number | null): Promise<void> {
    const { world } = this.input;
    if (name === PROPELLER) {
      this.propeller = text === 'on';
      await world.setPropeller(this.propeller);
    } else if (name === MOUNTING) await world.remount();
    else if (value === null) throw new Error(`${name} = ${text} is no number`);
    else world.setParameter(name, value);
  }

  private async cool(motor_degC: number | null, esc_degC: number | null, within_s: number): Promise<void> {
    const { world, reporter } = this.input;
    const cold = (): boolean => {
      const now = world.readings();
      return (motor_degC === null || (now.motor_degC ?? -Infinity) <= motor_degC) && (esc_degC === null || (now.esc_degC ?? -Infinity) <= esc_degC);
    };
    const cooled = await world.playUntil(() => this.stopped !== null || cold(), within_s);
    if (!cooled) reporter.note(`Still warm after ${within_s} s: motor ${String(world.readings().motor_degC)} °C; going on as the campaign file says.`);
  }

  private decide(run: number, outcome: Outcome, trip: TripCode | undefined, detail: string | undefined): void {
    const { folder, ready, reporter } = this.input;
    const { retry_once, skip_setting } = ready.campaign.on_trip;
    const decision = decideAfter({ run, outcome, trip, detail }, { retry_once, skip_setting }, folder.ledger);
    if (decision.what === 'go-on') return;
    folder.note({ type: 'decided', what: decision.what, by: 'tool', run, why: decision.why });
    reporter.note(decision.why);
    if (decision.what === 'skip-setting') {
      const setting = ready.plan.runs[run - 1].setting.id;
      for (const r of ready.plan.runs) if (r.setting.id === setting && !folder.ledger.isGood(r.index)) this.meter.leave(r.index);
    }
    if (decision.what === 'stop') this.stopped ??= decision.why;
  }
}
