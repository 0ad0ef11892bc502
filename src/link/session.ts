// The handshake: who is the board, does it measure what the rig file says, and does it hold exactly our limits.
import * as M from '../wire/messages';
import { limitsChecksum } from './checksum';
import type { CommandChannel, CommandResult } from './command-channel';
import type { Command, CommandName, Guards, LimitRow } from './commands';
import { LinkError } from './errors';
import type { Ack, BoardMessage, ChannelDeclaration, Identity, Status } from './messages';

/** What the rig file says a channel is, in the board's words. */
export interface ExpectedChannel {
  readonly id: number;
  /** KIND_* of the wire. */
  readonly kind: number;
  /** SI per count. */
  readonly scale: number;
  readonly zero: number;
  readonly period_us: number;
  /** What the rig file calls it, for messages. */
  readonly name: string;
}

export interface SessionPlan {
  /** Serial number of the board that belongs to this rig, or null when the rig file does not name one. */
  readonly uid: number | null;
  /** Whether the rig file says that a simulated board answers. A board that says otherwise is refused; null or left out: not asked. */
  readonly simulated?: boolean | null;
  readonly tick_us: number;
  readonly channels: readonly ExpectedChannel[];
  /** A row every so many ticks while nothing runs. */
  readonly divider: number;
  readonly limits: readonly LimitRow[];
  readonly guards: Guards;
}

/** What a completed handshake knows. */
export interface SessionFacts {
  readonly identity: Identity;
  readonly channels: readonly ChannelDeclaration[];
  /** To be echoed at arming. */
  readonly checksum: number;
}

export type SessionPhase = 'closed' | 'opening' | 'ready' | 'failed';

const RESULT_WORDS: Readonly<Record<number, string>> = {
  [M.RESULT_UNKNOWN]: 'unknown command',
  [M.RESULT_WRONG_STATE]: 'not in this state',
  [M.RESULT_BAD_VALUE]: 'value out of range',
  [M.RESULT_QUEUE_FULL]: 'queue full',
  [M.RESULT_CHECKSUM]: 'limits checksum differs',
  [M.RESULT_NOT_CURRENT]: 'not the segment being played',
  [M.RESULT_CONDITION]: 'a condition blocks it',
};
const STATE_WORDS = ['safe', 'ready', 'driving', 'tripped'];

/** A refusal in words. */
export function refusal(ack: Ack): string {
  return `${RESULT_WORDS[ack.result] ?? `result ${ack.result}`} (board is ${STATE_WORDS[ack.state] ?? `in state ${ack.state}`})`;
}

/** What went wrong with a command that has no answer or a refusal. */
export function commandError(command: CommandName, result: CommandResult & { ok: false }): LinkError {
  if (result.why === 'no-answer')
    return new LinkError('NO_ANSWER', `The board did not answer "${command}" (sent ${result.tries} times). Check its power, cable and port, then connect again.`);
  return new LinkError('REFUSED', `The board refused "${command}": ${refusal(result.ack)}. Connect again; if it stays, the firmware does not fit this version.`);
}

/** The steps of the handshake: yields a command, receives its answer. Throws a LinkError where a step fails. */
function* handshake(plan: SessionPlan): Generator<Command, SessionFacts, BoardMessage> {
  const identity = (yield { name: 'hello', version: M.WIRE_VERSION }) as Identity;
  checkIdentity(plan, identity);
  const channels: ChannelDeclaration[] = [];
  for (let channel = 0; channel < identity.channels; channel++) channels.push((yield { name: 'describe', channel }) as ChannelDeclaration);
  checkChannels(plan.channels, channels);
  const before = (yield { name: 'status' }) as Status;
  if (before.state === M.STATE_TRIPPED)
    throw new LinkError('TRIPPED_BEFORE', `The board is tripped from before (cause ${before.cause} at segment ${before.ordinal}). Find out why, then clear the trip; connecting does not clear it.`);
  // A host that died may have left the board armed. It must not stay so while limits change.
  if (before.state !== M.STATE_SAFE) yield { name: 'disarm' };
  yield { name: 'set-telemetry', divider: plan.divider };
  const used = new Map(plan.limits.map((row) => [row.slot, row]));
  for (let slot = 0; slot < identity.slots; slot++) yield { name: 'set-limit', ...(used.get(slot) ?? { ...EMPTY_LIMIT, slot }) };
  yield { name: 'set-guards', ...plan.guards };
  const checksum = limitsChecksum(plan.limits, plan.guards);
  const after = (yield { name: 'status' }) as Status;
  if (after.checksum !== checksum)
    throw new LinkError('CHECKSUM', `The board's limits have checksum ${hex(after.checksum)}, ours ${hex(checksum)}: it does not hold the limits of the rig file. Connect again; if it stays, the firmware does not fit this version.`);
  return { identity, channels, checksum };
}

const EMPTY_LIMIT: LimitRow = { slot: 0, rule: M.RULE_OFF, channel: 0, cause: 0, threshold: 0, bad: 0, window: 0, span: 0 };

function hex(value: number): string {
  return `0x${value.toString(16).padStart(8, '0')}`;
}

function checkIdentity(plan: SessionPlan, board: Identity): void {
  if (board.version !== M.WIRE_VERSION)
    throw new LinkError('WIRE_VERSION', `The board speaks wire version ${board.version}, this program ${M.WIRE_VERSION}. Load the firmware that belongs to this program.`);
  if (plan.uid !== null && board.uid !== plan.uid)
    throw new LinkError('FOREIGN_BOARD', `Board ${hex(board.uid)} answered, the rig file names ${hex(plan.uid)}. Connect that board, or correct the rig file.`);
  if (typeof plan.simulated === 'boolean' && board.simulated !== plan.simulated)
    throw new LinkError('NOT_AS_SIMULATED', board.simulated
      ? `Board ${hex(board.uid)} is a simulated one, and the rig file does not say so. Add \`simulated: true\` under \`link\`, so that every record says it, or connect the real board.`
      : `Board ${hex(board.uid)} is a real one, and the rig file says \`simulated: true\`: its motor can turn. Take that key out of \`link\`, and every caution of a real bench counts.`);
  if (board.tick_us !== plan.tick_us)
    throw new LinkError('TICK_MISMATCH', `The board ticks every ${board.tick_us} µs, the rig file says ${plan.tick_us} µs. Correct \`tick\` in the rig file or load the other firmware.`);
  if (board.slots > M.LIMIT_SLOTS || plan.limits.some((row) => row.slot >= board.slots))
    throw new LinkError('TOO_MANY_LIMITS', `The board has ${board.slots} limit slots, the rig's limits need ${plan.limits.length} of at most ${M.LIMIT_SLOTS}. Leave out limits that the rig does not need.`);
}

function checkChannels(expected: readonly ExpectedChannel[], declared: readonly ChannelDeclaration[]): void {
  const problems: string[] = [];
  for (const e of expected) {
    const d = declared[e.id];
    if (d === undefined) {
      problems.push(`channel ${e.id} (${e.name}) is missing`);
      continue;
    }
    const scale = d.scaleMantissa * 10 ** d.exponent;
    if (d.kind !== e.kind) problems.push(`channel ${e.id} (${e.name}) is of kind ${d.kind}, not ${e.kind}`);
    // Scales travel as a mantissa and a power of ten; a part in a million is far below any calibration.
    if (Math.abs(scale - e.scale) > 1e-6 * Math.abs(e.scale)) problems.push(`channel ${e.id} (${e.name}) has ${scale} per count, not ${e.scale}`);
    if (d.zero !== e.zero) problems.push(`channel ${e.id} (${e.name}) has its zero at ${d.zero} counts, not ${e.zero}`);
    if (d.period_us !== e.period_us) problems.push(`channel ${e.id} (${e.name}) has a period of ${d.period_us} µs, not ${e.period_us} µs`);
  }
  if (declared.length > expected.length) problems.push(`the board has ${declared.length} channels, the rig file ${expected.length}`);
  if (problems.length > 0)
    throw new LinkError('CHANNEL_MISMATCH', `The board's channels disagree with the rig file: ${problems.join('; ')}. Correct \`channels\` in the rig file, or connect the right board.`);
}

/** Runs the handshake over a command channel. Ends in `ready` or `failed`, and tells so through the callback given to open. */
export class Session {
  phase: SessionPhase = 'closed';
  facts: SessionFacts | null = null;
  error: LinkError | null = null;

  constructor(
    private readonly channel: CommandChannel,
    private readonly plan: SessionPlan,
  ) {}

  /** Starts (again) from HELLO. `done` receives null when the board is ready to be armed, else what is wrong. */
  open(done: (error: LinkError | null) => void): void {
    this.channel.abandon();
    this.phase = 'opening';
    this.facts = null;
    this.error = null;
    const steps = handshake(this.plan);
    const proceed = (advance: () => IteratorResult<Command, SessionFacts>) => {
      let step: IteratorResult<Command, SessionFacts>;
      try {
        step = advance();
      } catch (cause) {
        this.phase = 'failed';
        this.error = cause instanceof LinkError ? cause : new LinkError('REFUSED', 'The handshake failed; connect again.', { cause });
        done(this.error);
        return;
      }
      if (step.done === true) {
        this.phase = 'ready';
        this.facts = step.value;
        done(null);
        return;
      }
      const command = step.value;
      this.channel.request(command, (result) => {
        if (result.ok) proceed(() => steps.next(result.reply));
        else proceed(() => steps.throw(commandError(command.name, result)));
      });
    };
    proceed(() => steps.next());
  }
}
