// What happens between two runs, as an ordered list of plain steps. Whoever owns the bench carries them out.
import { changesFor, type Change, type PlannedRun } from './plan';
import { MOUNTING, PROPELLER, SUPPLY } from './plan-input';
import { own } from './text';

/** The campaign file's `between_runs`, in SI. */
export interface BetweenRuns {
  readonly pre_warm: { readonly throttle: number; readonly for_s: number; readonly after_s: number | null } | null;
  readonly cool_until: { readonly motor_degC: number | null; readonly esc_degC: number | null; readonly within_s: number } | null;
  readonly rest_s: number;
  readonly zero_s: number;
  readonly start_check: { readonly throttle: number; readonly for_s: number; readonly within: number } | null;
}

/** How a factor is changed that is not the rig's own. */
export type FactorMeans =
  | { readonly apply: 'command'; readonly command: readonly string[]; readonly read_back: readonly string[] | null; readonly time_limit_s: number }
  | { readonly apply: 'operator'; readonly checklist: readonly string[]; readonly ask: readonly string[] };

export type Step =
  /** Mean of the load cell at rest; `after` the run before, so that its drift is known, or `before` the next. */
  | { readonly step: 'zero'; readonly when: 'after' | 'before'; readonly for_s: number }
  /** Deliberate clearing of a trip's latch before a listed retry or skip goes on. */
  | { readonly step: 're-arm'; readonly after: string }
  /** Motor measured still, board disarmed, supply output off: only then do hands go in. */
  | { readonly step: 'safe-for-hands' }
  | { readonly step: 'hands'; readonly condition: string; readonly from: string | null; readonly to: string; readonly title: string; readonly checklist: readonly string[]; readonly ask: readonly string[] }
  /** Everybody out, guard closed, confirmed by the person. */
  | { readonly step: 'hands-off' }
  | { readonly step: 'supply'; readonly voltage_V: number }
  | { readonly step: 'rig'; readonly parameters: Readonly<Record<string, { readonly text: string; readonly value: number | null }>> }
  | { readonly step: 'command'; readonly factor: string; readonly from: string | null; readonly to: string; readonly value: number | null; readonly command: readonly string[]; readonly read_back: readonly string[] | null; readonly time_limit_s: number }
  | { readonly step: 'pre-warm'; readonly throttle: number; readonly for_s: number }
  /** Waits until every temperature given is at or below; goes on after `within_s` and flags the run. */
  | { readonly step: 'cool'; readonly motor_degC: number | null; readonly esc_degC: number | null; readonly within_s: number }
  | { readonly step: 'rest'; readonly for_s: number }
  | { readonly step: 'start-check'; readonly throttle: number; readonly for_s: number; readonly within: number }
  | { readonly step: 'check-supply' }
  | { readonly step: 'log-environment' }
  | { readonly step: 'permit' };

export interface ChangeoverInput {
  readonly next: PlannedRun;
  /** Conditions known to be in place; absent or undefined = unknown or half-applied, so applied again. */
  readonly inPlace: Readonly<Record<string, string | undefined>>;
  readonly between: BetweenRuns;
  readonly means: Readonly<Record<string, FactorMeans>>;
  /** A run has been made since the bench was opened. */
  readonly afterRun: boolean;
  /** The trip that ended the run before, when the campaign goes on after it. */
  readonly trip?: string;
  /** Seconds since the motor last turned, for a repeated pre-warm; infinite at the start. */
  readonly idle_s: number;
}

/**
 * The steps before a run, in order: zero after the run before, hands (with the supply off), supply, rig parameters, commands,
 * pre-warm, cool-down, rest, checks, zero before, permit. The same conditions give the same list.
 */
export function changeover(input: ChangeoverInput): Step[] {
  const { between } = input;
  const changes = changesFor(input.inPlace, input.next.conditions);
  const steps: Step[] = [];
  if (input.afterRun && between.zero_s > 0) steps.push({ step: 'zero', when: 'after', for_s: between.zero_s });
  if (input.trip !== undefined) steps.push({ step: 're-arm', after: input.trip });
  steps.push(...handSteps(changes, input.means), ...machineSteps(changes, input));
  if (between.pre_warm !== null && preWarmDue(between.pre_warm.after_s, input)) {
    steps.push({ step: 'pre-warm', throttle: between.pre_warm.throttle, for_s: between.pre_warm.for_s });
  }
  if (between.cool_until !== null) steps.push({ step: 'cool', ...between.cool_until });
  if (between.rest_s > 0) steps.push({ step: 'rest', for_s: between.rest_s });
  if (between.start_check !== null) steps.push({ step: 'start-check', ...between.start_check });
  steps.push({ step: 'check-supply' }, { step: 'log-environment' });
  if (between.zero_s > 0) steps.push({ step: 'zero', when: 'before', for_s: between.zero_s });
  steps.push({ step: 'permit' });
  return steps;
}

function preWarmDue(after_s: number | null, input: ChangeoverInput): boolean {
  return !input.afterRun || (after_s !== null && input.idle_s > after_s);
}

/** A new mounting first, then the propeller, then the rest as written. */
function handSteps(changes: readonly Change[], means: Readonly<Record<string, FactorMeans>>): Step[] {
  const byHand = changes.filter((c) => c.by === 'operator').sort((a, b) => handRank(a.name) - handRank(b.name));
  if (byHand.length === 0) return [];
  const hands = byHand.map((c): Step => {
    const mean = own(means, c.name);
    const given = mean?.apply === 'operator' ? mean : null;
    return { step: 'hands', condition: c.name, from: c.from, to: c.to, title: titleOf(c), checklist: given?.checklist ?? checklistOf(c), ask: given?.ask ?? [] };
  });
  return [{ step: 'safe-for-hands' }, ...hands, { step: 'hands-off' }];
}

function handRank(name: string): number {
  return name === MOUNTING ? 0 : name === PROPELLER ? 2 : 1;
}

/** One line that says what a change is: `timing_advance: 8 deg (was 0 deg)`. */
export function titleOf(c: Pick<Change, 'name' | 'from' | 'to'>): string {
  if (c.name === PROPELLER) return c.to === 'on' ? 'Put the propeller on' : 'Take the propeller off';
  if (c.name === MOUNTING) return `Take the motor off the stand and mount it again (mounting ${c.to})`;
  if (c.name === SUPPLY) return `Set the supply to ${c.to}${c.from === null ? '' : ` (was ${c.from})`}`;
  return `${c.name}: ${c.to}${c.from === null ? '' : ` (was ${c.from})`}`;
}

/** Common practice, no published source. */
function checklistOf(c: Change): readonly string[] {
  if (c.name === PROPELLER) {
    return c.to === 'on'
      ? ['Let the motor cool', 'Put the propeller on the right way up, at its mark', 'Tighten it, then pull at it', 'Turn it once by hand: nothing touches']
      : ['Let the motor cool', 'Mark how the propeller sits', 'Take it off and put it aside'];
  }
  if (c.name === MOUNTING) {
    return ['Let the motor cool', 'Take the motor off its plate', 'Bolt it on again with the same torque', 'Lay the cables so that they do not pull at the load cell', 'Pull at the motor: the reading comes back to zero'];
  }
  if (c.name === SUPPLY) return [`Set the output to ${c.to} with the output off`, 'Check the current limit', 'Switch the output on when the guard is closed'];
  return [`Set ${c.name} to ${c.to}`, 'Read it back'];
}

/** Supply first (the board may need it), then the rig's own parameters in one go, then commands in their order. */
function machineSteps(changes: readonly Change[], input: ChangeoverInput): Step[] {
  const steps: Step[] = [];
  const voltage = changes.find((c) => c.name === SUPPLY && c.by !== 'operator');
  if (voltage !== undefined) {
    if (voltage.value === null) throw new TypeError(`Run ${input.next.index} wants the supply at "${voltage.to}", which is no voltage.`);
    steps.push({ step: 'supply', voltage_V: voltage.value });
  }
  const rig = changes.filter((c) => c.by === 'rig' && c.name !== SUPPLY);
  if (rig.length > 0) steps.push({ step: 'rig', parameters: Object.fromEntries(rig.map((c) => [c.name, { text: c.to, value: c.value }])) });
  for (const c of changes) {
    if (c.by !== 'command') continue;
    const mean = own(input.means, c.name);
    if (mean?.apply !== 'command') throw new TypeError(`Run ${input.next.index} changes ${c.name} by a command, but none is given for it.`);
    steps.push({ step: 'command', factor: c.name, from: c.from, to: c.to, value: c.value, command: mean.command, read_back: mean.read_back, time_limit_s: mean.time_limit_s });
  }
  return steps;
}
