// The run as one table: states down, what happens across, every cell filled. Nothing else decides where a run goes.
import type { Outcome } from '../model/events';

export const RUN_STATES = ['idle', 'checking', 'arming', 'ready', 'playing', 'finishing', 'stopping', 'confirming', 'ended'] as const;
export type RunState = (typeof RUN_STATES)[number];

export const RUN_INPUTS = [
  'begin', // somebody subscribed
  'permitted', // leave to drive: before arming, or as the answer to arming
  'refused',
  'started', // the board started a segment
  'complete', 'starved', 'cut', 'cleared', // the board ended: all played, queue ran dry, stopped, later segments dropped
  'tripped',
  'finish', 'stop', // the operator
  'cannot-record', // the log refused a block or an event
  'protocol-failed', // the protocol's generator threw
  'bench-failed', // a verb of the bench threw, or its streams ended
  'overdue', // the bound of this phase passed
  'still', 'not-still', // measured after a stop
] as const;
export type RunInput = (typeof RUN_INPUTS)[number];

/** `go`: to a state, with the outcome this means for the run (if it means one). `never`: an order that must not happen; the run is stopped as failed. */
export type Cell =
  | { readonly kind: 'go'; readonly state: RunState; readonly outcome: Outcome | null }
  | { readonly kind: 'ignored'; readonly why: string }
  | { readonly kind: 'never'; readonly why: string };

const go = (state: RunState, outcome: Outcome | null = null): Cell => ({ kind: 'go', state, outcome });
const skip = (why: string): Cell => ({ kind: 'ignored', why });
const never = (why: string): Cell => ({ kind: 'never', why });

const ONCE = never('a run begins once');
const NOTHING_BEGUN = never('nothing has begun');
const NOT_ARMED = never('the board plays although it was not armed');
const UNASKED = never('an answer to a question that was not asked');
const NO_BOUND = never('this phase has no time bound');
const LEFT_OVER = skip('left over from the run before');
const IN_FLIGHT = skip('under way when the stop was ordered');
const STOPPING = skip('the run is being stopped already');
const AT_ZERO = skip('the output is zero already');
const NO_STOP = skip('measured without a stop being ordered');
const OVER = skip('the outcome is written');

export const TABLE: Readonly<Record<RunState, Readonly<Record<RunInput, Cell>>>> = {
  idle: {
    // Whatever comes before the beginning keeps the run from beginning.
    'begin': go('checking'), 'permitted': NOTHING_BEGUN, 'refused': NOTHING_BEGUN, 'started': NOTHING_BEGUN,
    'complete': NOTHING_BEGUN, 'starved': NOTHING_BEGUN, 'cut': NOTHING_BEGUN, 'cleared': NOTHING_BEGUN,
    'tripped': go('ended', 'tripped'), 'finish': go('ended', 'finished-early'), 'stop': go('ended', 'stopped'),
    'cannot-record': go('ended', 'tripped'), 'protocol-failed': go('ended', 'failed'), 'bench-failed': go('ended', 'failed'),
    'overdue': NO_BOUND, 'still': NOTHING_BEGUN, 'not-still': NOTHING_BEGUN,
  },
  checking: {
    'begin': ONCE, 'permitted': go('arming'), 'refused': go('ended', 'refused'), 'started': NOT_ARMED,
    'complete': LEFT_OVER, 'starved': LEFT_OVER, 'cut': LEFT_OVER, 'cleared': LEFT_OVER,
    'tripped': go('confirming', 'tripped'), 'finish': go('stopping', 'finished-early'), 'stop': go('stopping', 'stopped'),
    'cannot-record': go('stopping', 'tripped'), 'protocol-failed': go('stopping', 'failed'), 'bench-failed': go('stopping', 'failed'),
    'overdue': NO_BOUND, 'still': LEFT_OVER, 'not-still': LEFT_OVER,
  },
  arming: {
    'begin': ONCE, 'permitted': go('ready'), 'refused': go('ended', 'refused'), 'started': NOT_ARMED,
    'complete': LEFT_OVER, 'starved': LEFT_OVER, 'cut': LEFT_OVER, 'cleared': LEFT_OVER,
    'tripped': go('confirming', 'tripped'), 'finish': go('stopping', 'finished-early'), 'stop': go('stopping', 'stopped'),
    'cannot-record': go('stopping', 'tripped'), 'protocol-failed': go('stopping', 'failed'), 'bench-failed': go('stopping', 'failed'),
    'overdue': go('stopping', 'failed'), 'still': LEFT_OVER, 'not-still': LEFT_OVER,
  },
  ready: {
    'begin': ONCE, 'permitted': UNASKED, 'refused': UNASKED, 'started': go('playing'),
    'complete': never('the board reports all played before the first segment started'), 'starved': go('confirming', 'starved'),
    'cut': go('confirming', 'stopped'), 'cleared': never('the board dropped segments that nobody told it to drop'),
    'tripped': go('confirming', 'tripped'), 'finish': go('stopping', 'finished-early'), 'stop': go('stopping', 'stopped'),
    'cannot-record': go('stopping', 'tripped'), 'protocol-failed': go('stopping', 'failed'), 'bench-failed': go('stopping', 'failed'),
    'overdue': go('stopping', 'failed'), 'still': NO_STOP, 'not-still': NO_STOP,
  },
  playing: {
    'begin': ONCE, 'permitted': UNASKED, 'refused': UNASKED, 'started': go('playing'),
    'complete': go('confirming', 'done'), 'starved': go('confirming', 'starved'),
    'cut': go('confirming', 'stopped'), 'cleared': never('the board dropped segments that nobody told it to drop'),
    'tripped': go('confirming', 'tripped'), 'finish': go('finishing', 'finished-early'), 'stop': go('stopping', 'stopped'),
    'cannot-record': go('stopping', 'tripped'), 'protocol-failed': go('stopping', 'failed'), 'bench-failed': go('stopping', 'failed'),
    'overdue': go('stopping', 'failed'), 'still': NO_STOP, 'not-still': NO_STOP,
  },
  finishing: {
    // A segment that started while the order was under way is the one that is finished.
    'begin': ONCE, 'permitted': UNASKED, 'refused': UNASKED, 'started': go('finishing'),
    'complete': go('confirming'), 'starved': go('confirming', 'starved'),
    'cut': go('confirming', 'stopped'), 'cleared': go('confirming'),
    'tripped': go('confirming', 'tripped'), 'finish': skip('the segment is being finished already'), 'stop': go('stopping', 'stopped'),
    'cannot-record': go('stopping', 'tripped'), 'protocol-failed': skip('no further step is asked for'), 'bench-failed': go('stopping', 'failed'),
    'overdue': go('stopping', 'failed'), 'still': NO_STOP, 'not-still': NO_STOP,
  },
  stopping: {
    'begin': ONCE, 'permitted': IN_FLIGHT, 'refused': IN_FLIGHT, 'started': IN_FLIGHT,
    'complete': go('confirming'), 'starved': go('confirming'), 'cut': go('confirming'), 'cleared': go('confirming'),
    'tripped': go('confirming', 'tripped'), 'finish': STOPPING, 'stop': go('stopping', 'stopped'),
    'cannot-record': go('stopping', 'tripped'), 'protocol-failed': STOPPING, 'bench-failed': go('stopping', 'failed'),
    'overdue': go('ended', 'stop-unconfirmed'), 'still': go('ended'), 'not-still': go('ended', 'stop-unconfirmed'),
  },
  confirming: {
    // A stop pressed after everything was played changes nothing about the run; the order is given all the same.
    'begin': ONCE, 'permitted': UNASKED, 'refused': UNASKED, 'started': never('a segment started after the run had ended'),
    'complete': AT_ZERO, 'starved': AT_ZERO, 'cut': AT_ZERO, 'cleared': AT_ZERO,
    'tripped': go('confirming', 'tripped'), 'finish': AT_ZERO, 'stop': go('confirming'),
    'cannot-record': go('confirming', 'tripped'), 'protocol-failed': AT_ZERO, 'bench-failed': go('confirming', 'failed'),
    'overdue': go('ended', 'stop-unconfirmed'), 'still': go('ended'), 'not-still': go('ended', 'stop-unconfirmed'),
  },
  ended: {
    'begin': ONCE, 'permitted': OVER, 'refused': OVER, 'started': OVER, 'complete': OVER, 'starved': OVER, 'cut': OVER, 'cleared': OVER,
    'tripped': OVER, 'finish': OVER, 'stop': OVER, 'cannot-record': OVER, 'protocol-failed': OVER, 'bench-failed': OVER,
    'overdue': OVER, 'still': OVER, 'not-still': OVER,
  },
};

export interface Advance {
  readonly state: RunState;
  /** What this step means for the outcome, or null. */
  readonly outcome: Outcome | null;
  /** Why this order must not happen; null when it may. */
  readonly broken: string | null;
}

/** One step through the table. An order that must not happen stops the run as failed; after the end it changes nothing. */
export function advance(state: RunState, input: RunInput): Advance {
  const cell = TABLE[state][input];
  if (cell.kind === 'go') return { state: cell.state, outcome: cell.outcome, broken: null };
  if (cell.kind === 'ignored') return { state, outcome: null, broken: null };
  return { state: state === 'ended' ? 'ended' : 'stopping', outcome: 'failed', broken: `${cell.why} ("${input}" while ${state})` };
}

/** From good to bad; where several apply the last one is the run's. The order is that of the exit codes: 5 > 1 > 4 > 3 > 6. */
const SEVERITY: readonly Outcome[] = ['done', 'refused', 'starved', 'finished-early', 'stopped', 'tripped', 'failed', 'stop-unconfirmed'];

/** The worse of two outcomes. */
export function worse(a: Outcome | null, b: Outcome | null): Outcome | null {
  if (a === null || b === null) return a ?? b;
  return SEVERITY.indexOf(b) > SEVERITY.indexOf(a) ? b : a;
}
