// Carries out what has to happen between two runs. Writes down before a change that it begins, and after it that it is done.
import type { Observable } from 'rxjs';
import { changeover, MOUNTING, PROPELLER, SUPPLY, type PlannedRun, type Step } from '../campaign';
import type { Outcome } from '../model/events';
import type { TripCode } from '../model/trip';
import { isSimulated } from '../model/simulated';
import { SupplyError } from '../host/scpi/errors';
import type { RecordAttachment } from '../record/header';
import type { OperatorRequest } from '../sequencer/options';
import { Applied } from './applied';
import { waitUntilArmable } from './arming-wait';
import { preWarm, startCheck } from './between-protocols';
import type { CampaignFolder } from './campaign-folder';
import { applyCommand } from './commands';
import type { CoolingNote } from './cooling';
import { factorMeans } from './means';
import type { Notifier } from './notify';
import { requestFor, type Operator } from './operator';
import type { ReadyCampaign, ReadyProtocol } from './prepare';
import { attachmentsOf, runHeader } from './record-header';
import type { Reporter } from './reporter';
import { runOnce, type RunResult } from './run-once';
import { checkState, firstChecks, type CheckNote } from './start-state';
import { supplyProblem } from './supply-check';
import type { World } from './world';

export interface BenchUse {
  readonly ready: ReadyCampaign;
  readonly world: World;
  readonly folder: CampaignFolder;
  readonly reporter: Reporter;
  readonly requests: Observable<OperatorRequest>;
  readonly operator: Operator;
  readonly notifier: Notifier;
  /** Whether a person has asked to stop; aborts what cannot look by itself. */
  readonly stopping: AbortSignal;
}

/** Why a run cannot follow. `outcome` is that of a pre-warm or start check that ended badly. */
export interface Halt {
  readonly why: string;
  readonly outcome?: Outcome;
  readonly trip?: TripCode;
}

/** A condition that is over needs its window of samples to pass before the station believes it, s. */
const RECOVERY_S = 5;

type HandsStep = Extract<Step, { step: 'hands' }>;

/** The bench between runs: what is set, and how warm, straight and stiff it was found. */
export class Changeover {
  supply_V: number;
  propeller: boolean;
  private readonly applied: Applied;
  private afterRun = false;
  /** A program has switched the supply's output off for a person's hands. */
  private outputOff = false;
  private lastTurned_us = -Infinity;
  /** Current of the first start check under the same conditions, A; later ones are compared with it. */
  private readonly firstChecks: Map<string, number>;
  /** What was found before the coming run, for its record. */
  private found: Record<string, unknown> = {};

  constructor(private readonly use: BenchUse) {
    const { ready, folder } = use;
    this.supply_V = ready.article.nominal_voltage_V;
    this.propeller = ready.article.propeller.mounted;
    this.applied = new Applied(ready.folder, folder.before);
    this.firstChecks = firstChecks(folder.before);
    const declared = ready.declared[PROPELLER];
    if (declared !== undefined) this.propeller = (folder.ledger.inPlace()[PROPELLER] ?? declared) === 'on';
  }

  /** The motor has just turned. */
  turned(): void {
    this.afterRun = true;
    this.lastTurned_us = this.use.world.clock.now_us();
  }

  /** Attachments of the run that comes next: bench files, who changed what, what was found before it. */
  attachments(): RecordAttachment[] {
    return [...attachmentsOf(this.use.ready), ...this.applied.attachments(this.found)];
  }

  /** Everything before a run. Resolves to null when it may begin. @param trip the latched trip that a listed rule goes on after */
  async before(run: PlannedRun, trip: TripCode | null): Promise<Halt | null> {
    const { folder, ready, world, stopping } = this.use;
    const inPlace = folder.ledger.inPlace();
    const steps = changeover({
      next: run, inPlace, between: ready.campaign.between_runs, means: factorMeans(ready.campaign), afterRun: this.afterRun,
      idle_s: (world.clock.now_us() - this.lastTurned_us) / 1e6, ...(trip === null ? {} : { trip }),
    });
    this.found = {};
    const wanted = Object.fromEntries(run.conditions.filter((c) => inPlace[c.name] !== c.to).map((c) => [c.name, c.to]));
    if (Object.keys(wanted).length > 0) folder.note({ type: 'changing', run: run.index, conditions: wanted });
    for (const step of steps) {
      if (stopping.aborted) return STOPPED;
      const halt = await this.orSupplyFault(this.carryOut(step, run, steps));
      if (halt !== null) return halt;
    }
    await waitUntilArmable(world, ready.rig, () => stopping.aborted);
    return stopping.aborted ? STOPPED : null;
  }

  /** A supply that does not do as it is told is no fault of the program: nothing may follow, and its own words say why. */
  private async orSupplyFault(step: Promise<Halt | null>): Promise<Halt | null> {
    try {
      return await step;
    } catch (error) {
      if (error instanceof SupplyError) return { why: error.message };
      throw error;
    }
  }

  private async carryOut(step: Step, run: PlannedRun, steps: readonly Step[]): Promise<Halt | null> {
    const { world, ready, stopping, folder } = this.use;
    switch (step.step) {
      case 're-arm': return await this.reArm(step.after);
      case 'safe-for-hands': return await this.safeForHands(run, steps);
      case 'hands': return await this.hands(step, run);
      case 'hands-off': return await this.handsOff();
      case 'supply':
        await this.setSupply(step.voltage_V);
        this.changed(run, { [SUPPLY]: run.conditions.find((c) => c.name === SUPPLY)?.to ?? `${step.voltage_V} V` });
        return null;
      case 'rig':
        for (const [name, to] of Object.entries(step.parameters)) await this.setParameter(name, to.text, to.value);
        this.changed(run, Object.fromEntries(Object.entries(step.parameters).map(([name, to]) => [name, to.text])));
        return null;
      case 'command': return await this.command(step, run);
      case 'pre-warm': return await this.preWarm(step, run);
      case 'cool':
        await this.cool(step, run);
        return null;
      case 'rest':
        await world.playUntil(() => stopping.aborted, step.for_s);
        return null;
      case 'start-check': return await this.startCheck(step, run);
      case 'check-supply': {
        const { voltage_V } = world.readings();
        const meters = (await world.supplyReading?.()) ?? null;
        this.found.supply = { set_V: this.supply_V, at_rest_V: voltage_V, ...(meters === null ? {} : { meters }) };
        const problem = supplyProblem(voltage_V, this.supply_V, ready.rig, meters);
        return problem === null ? null : { why: problem };
      }
      case 'log-environment':
        if (ready.rig.environment !== null) this.found.environment = ready.rig.environment;
        if (!this.afterRun && ready.rig.environment !== null) folder.remark('environment', run.index, ready.rig.environment);
        return null;
      case 'permit': {
        // Leave to drive lives only while somebody shows to be alive: renewed here, asked for again when the run arms.
        await world.playUntil(() => {
          world.bench.beat();
          return stopping.aborted || world.bench.permit().granted;
        }, RECOVERY_S);
        const permit = world.bench.permit();
        return stopping.aborted ? STOPPED : permit.granted ? null : { why: `Run ${run.index} has no leave to drive: ${permit.reasons.join(' ')}` };
      }
      // The zero of the load cell is the first and the last segment of each run's record, see RunWatch.
      case 'zero': return null;
    }
  }

  private changed(run: PlannedRun, conditions: Readonly<Record<string, string>>, byHand: readonly string[] = []): void {
    this.use.folder.note({ type: 'changed', run: run.index, conditions, ...(byHand.length > 0 ? { byHand } : {}) });
  }

  private async reArm(trip: string): Promise<Halt | null> {
    const { world, stopping } = this.use;
    const clear = (): Promise<readonly string[]> => world.clearTrip(`${trip} is listed in on_trip of the campaign file`);
    let reasons = await clear();
    for (let waited_s = 0; reasons.length > 0 && waited_s < RECOVERY_S && !stopping.aborted; waited_s++) {
      await world.playUntil(() => stopping.aborted, 1);
      reasons = await clear();
    }
    if (stopping.aborted) return STOPPED;
    if (reasons.length > 0) return { why: `the trip ${trip} cannot be cleared: ${reasons.join('; ')}` };
    this.use.reporter.note(`Trip ${trip} cleared, as the campaign file lists it.`);
    return null;
  }

  /** Measured, not believed: current and speed below what the rig calls standing still. Then the supply's output goes off, where a program switches it. */
  private async safeForHands(run: PlannedRun, steps: readonly Step[]): Promise<Halt | null> {
    const { world, ready, notifier, stopping, folder } = this.use;
    const { stop } = ready.rig.limits;
    const still = (): boolean => {
      const { current_A, speed_rpm } = world.readings();
      return current_A !== null && current_A < stop.current_A && (speed_rpm ?? 0) < stop.speed_rpm;
    };
    const stands = await world.playUntil(() => stopping.aborted || still(), stop.within_s);
    if (stopping.aborted) return STOPPED;
    const now = world.readings();
    if (!stands) return { why: `Hands are needed before run ${run.index}, but nothing shows that the motor stands still: ${String(now.current_A)} A, ${String(now.speed_rpm)} rpm. Cut the power first.` };
    const problem = await this.switchOff();
    if (problem !== null) return { why: `Hands are needed before run ${run.index}, but the supply's output could not be switched off: ${problem}. Cut the power by hand first.` };
    const titles = steps.filter((s): s is HandsStep => s.step === 'hands').map((s) => s.title);
    folder.remark('hands-wanted', run.index, { hands: titles });
    notifier.tell({ event: 'needs-hands', run: run.index, going_on: false, hands: titles, detail: `Run ${run.index} of ${ready.plan.runs.length} waits for hands: ${titles.join('; ')}.` });
    return null;
  }

  /** Why the output may still be on; null when it is off, or when a person has to see to it. */
  private async switchOff(): Promise<string | null> {
    try {
      this.outputOff = await this.use.world.outputOff();
      return null;
    } catch (error) {
      return error instanceof Error ? error.message : String(error);
    }
  }

  /** Everybody out of reach, and a person has said so; only then is the output on again. */
  private async handsOff(): Promise<Halt | null> {
    const { operator, world, ready, stopping } = this.use;
    if ((await operator.clear({ simulated: isSimulated(ready.rig), output_off: this.outputOff }, stopping)) === 'stop') return STOPPED;
    await world.outputOn();
    this.outputOff = false;
    return null;
  }

  private async hands(step: HandsStep, run: PlannedRun): Promise<Halt | null> {
    const { operator, ready, folder, world } = this.use;
    const done = await operator.hands({ ...requestFor(step, run, ready), output_off: this.outputOff }, this.use.stopping);
    if (done === 'stop') return STOPPED;
    const note = { condition: step.condition, to: step.to, checklist: step.checklist, ...done };
    folder.remark('operator', run.index, note);
    this.applied.operator(note);
    const value = run.conditions.find((c) => c.name === step.condition)?.value ?? null;
    if (step.condition === PROPELLER) await this.setPropeller(step.to === 'on');
    else if (step.condition === SUPPLY && value !== null) await this.setSupply(value);
    else if (step.condition === MOUNTING && value !== null) await world.remount(value);
    else world.follow(step.condition, value);
    this.changed(run, { [step.condition]: step.to }, [step.condition]);
    return null;
  }

  private async command(step: Extract<Step, { step: 'command' }>, run: PlannedRun): Promise<Halt | null> {
    const { ready, stopping, folder, world } = this.use;
    const note = await applyCommand(step, run, ready, stopping);
    folder.remark('command', run.index, note);
    if (stopping.aborted) return STOPPED;
    if (note.problem !== null) return { why: note.problem };
    this.applied.command(note);
    world.follow(step.factor, step.value);
    this.changed(run, { [step.factor]: step.to });
    return null;
  }

  private async setSupply(volts: number): Promise<void> {
    const { world, ready, stopping } = this.use;
    this.supply_V = volts;
    await world.setSupply(volts);
    await world.playUntil(() => stopping.aborted, ready.rig.supply.settle_s);
  }

  private async setPropeller(on: boolean): Promise<void> {
    this.propeller = on;
    await this.use.world.setPropeller(on);
  }

  private async setParameter(name: string, text: string, value: number | null): Promise<void> {
    const { world } = this.use;
    if (name === PROPELLER) await this.setPropeller(text === 'on');
    else if (value === null) throw new Error(`${name} = ${text} is no number`);
    else if (name === MOUNTING) await world.remount(value);
    else world.setParameter(name, value);
  }

  private async cool(step: Extract<Step, { step: 'cool' }>, run: PlannedRun): Promise<void> {
    const { world, reporter, stopping, folder } = this.use;
    const { motor_degC, esc_degC, within_s } = step;
    const cold = (): boolean => {
      const now = world.readings();
      return (motor_degC === null || (now.motor_degC ?? Infinity) <= motor_degC) && (esc_degC === null || (now.esc_degC ?? Infinity) <= esc_degC);
    };
    const from_us = world.clock.now_us();
    await world.playUntil(() => stopping.aborted || cold(), within_s);
    const now = world.readings();
    const reached = cold();
    const note: CoolingNote = { took_s: (world.clock.now_us() - from_us) / 1e6, reached, motor_degC: now.motor_degC, esc_degC: now.esc_degC };
    this.found.cooling = note;
    if (stopping.aborted) return;
    folder.remark('cooling', run.index, note);
    if (!reached) reporter.note(`Run ${run.index} begins warm: after ${within_s} s the motor is at ${show(now.motor_degC)} °C, the ESC at ${show(now.esc_degC)} °C; going on as the campaign file says.`);
  }

  private async preWarm(step: Extract<Step, { step: 'pre-warm' }>, run: PlannedRun): Promise<Halt | null> {
    const result = await this.spin(preWarm(step), run, 'pre-warm');
    this.use.folder.remark('pre-warm', run.index, { outcome: result.outcome.outcome, throttle: step.throttle, for_s: step.for_s, record: result.record.path });
    this.found.pre_warm = { throttle: step.throttle, for_s: step.for_s };
    return haltOf('The pre-warm', result);
  }

  /** Rests and checks again while the drive is not as at first; goes on after a bounded number of checks and says so. */
  private async startCheck(step: Extract<Step, { step: 'start-check' }>, run: PlannedRun): Promise<Halt | null> {
    const { world, stopping, reporter, folder, ready } = this.use;
    const under = run.conditions.map((c) => `${c.name} ${c.to}`).join(', ');
    for (let check = 1; ; check++) {
      const result = await this.spin(startCheck(step), run, 'start-check');
      const halt = haltOf('The start check', result);
      if (halt !== null) return halt;
      const { note, again_after_s } = checkState(result.record.path, this.firstChecks.get(under) ?? null, step.within, check, ready.campaign.between_runs.rest_s);
      if (!this.firstChecks.has(under)) this.firstChecks.set(under, note.current_A);
      folder.remark('start-check', run.index, { ...note, under });
      this.found.start_check = note satisfies CheckNote;
      if (again_after_s === null) {
        if (!note.reached) reporter.note(`Run ${run.index} begins in another state: after ${check} start checks the current is ${(100 * note.off).toFixed(1)} % from the first one; going on, and the record says so.`);
        return null;
      }
      await world.playUntil(() => stopping.aborted, again_after_s);
      if (stopping.aborted) return STOPPED;
    }
  }

  private async spin(protocol: ReadyProtocol, run: PlannedRun, what: string): Promise<RunResult> {
    const { ready, world, folder, reporter, requests } = this.use;
    const seed = ready.rig.link.kind === 'twin' ? ready.rig.link.seed : null;
    await waitUntilArmable(world, ready.rig, () => this.use.stopping.aborted);
    const result = await runOnce({
      world, protocol, reporter, requests, path: folder.betweenRecord(run.id, what), zero_s: 0,
      header: runHeader({ ready, protocol, run, supply_V: this.supply_V, propeller: this.propeller, seed }), attachments: this.attachments(),
    });
    this.turned();
    return result;
  }
}

/** What is said when a person asks to stop between two runs. */
export const STOPPED_BY_PERSON = 'stopped by the operator';
const STOPPED: Halt = { why: STOPPED_BY_PERSON };

function haltOf(what: string, { outcome }: RunResult): Halt | null {
  if (outcome.outcome === 'done') return null;
  return { why: `${what} ended as ${outcome.outcome}: ${outcome.detail}`, outcome: outcome.outcome, ...(outcome.trip === null ? {} : { trip: outcome.trip.code }) };
}

function show(value: number | null): string {
  return value === null ? 'unknown' : value.toFixed(1);
}
