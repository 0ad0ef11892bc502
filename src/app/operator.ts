// The person at the bench, as the use cases see one: asked for hands, answers with what is kept in the record.
import { changeover, changesFor, type Change, type FactorMeans, type Ledger, type PlannedRun, type Step } from '../campaign';
import type { ReadyCampaign } from './prepare';
import { factorMeans } from './means';

/** One thing to be done by hand. */
export interface HandsRequest {
  readonly run: number;
  readonly of: number;
  readonly condition: string;
  readonly from: string | null;
  readonly to: string;
  readonly title: string;
  readonly checklist: readonly string[];
  readonly ask: readonly string[];
  /** This is a simulation: nothing has to be touched. */
  readonly simulated: boolean;
  /** The supply's output has been switched off; where no program can, a person cuts the power. */
  readonly output_off: boolean;
}

/** What a person is told when asked whether the motor may turn. */
export type ClearRequest = Pick<HandsRequest, 'simulated' | 'output_off'>;

/** What a person says after it; kept in the records of every run that is made so. */
export interface HandsDone {
  readonly answers: Readonly<Record<string, string>>;
  /** Path of a photo as given, from the bench folder; null when none was. */
  readonly photo: string | null;
  readonly notes: string;
}

/** Whoever can be asked: a person at the terminal, a file of answers, later a page. */
export interface Operator {
  /** What it cannot answer of all that will be asked, one line each; empty when somebody will be there. */
  lacks(requests: readonly HandsRequest[]): readonly string[];
  /** Asks for one change. `stop` when the person wants to end instead, or `signal` says that somebody else stopped it. */
  hands(request: HandsRequest, signal: AbortSignal): Promise<HandsDone | 'stop'>;
  /** Everybody out of reach, guard closed, power on again? `stop` when the person wants to end instead. */
  clear(request: ClearRequest, signal: AbortSignal): Promise<'clear' | 'stop'>;
}

/** Nobody is there: standard input is no terminal and no answers were given. */
export const NOBODY: Operator = {
  lacks: (requests) => requests.map((r) => `run ${r.run}: ${r.title}${r.ask.length === 0 ? '' : ` (asks: ${r.ask.join(', ')})`}`),
  hands: () => Promise.resolve('stop'),
  clear: () => Promise.resolve('stop'),
};

type HandsStep = Extract<Step, { step: 'hands' }>;

/** A step of the changeover as a request to a person; whether the output is off is known only when it is asked. */
export function requestFor(step: HandsStep, run: PlannedRun, ready: ReadyCampaign): HandsRequest {
  const { condition, from, to, title, checklist, ask } = step;
  return { run: run.index, of: ready.plan.runs.length, condition, from, to, title, checklist, ask, simulated: ready.rig.link.kind === 'twin', output_off: false };
}

/** Everything that will be asked for until the campaign's end, if every run is good. */
export function handsToCome(ready: ReadyCampaign, folder: { readonly ledger: Ledger } | null): HandsRequest[] {
  const means = factorMeans(ready.campaign);
  const present: Record<string, string | undefined> = { ...(folder === null ? ready.declared : folder.ledger.inPlace()) };
  const requests: HandsRequest[] = [];
  for (const run of ready.plan.runs) {
    if (folder !== null && (folder.ledger.isGood(run.index) || folder.ledger.isSkipped(run.index))) continue;
    const byHand = changesFor(present, run.conditions).filter((c) => c.by === 'operator');
    if (byHand.length > 0) requests.push(...handsSteps(run, byHand, present, means, ready).map((step) => requestFor(step, run, ready)));
    for (const c of byHand) present[c.name] = c.to;
  }
  return requests;
}

function handsSteps(run: PlannedRun, byHand: readonly Change[], inPlace: Readonly<Record<string, string | undefined>>, means: Readonly<Record<string, FactorMeans>>, ready: ReadyCampaign): HandsStep[] {
  const only = { ...run, conditions: byHand };
  const steps = changeover({ next: only, inPlace, between: ready.campaign.between_runs, means, afterRun: false, idle_s: 0 });
  return steps.filter((s): s is HandsStep => s.step === 'hands');
}

