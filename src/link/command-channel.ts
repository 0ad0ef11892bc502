// One command outstanding at a time, sent again while no answer comes, given up after a bounded number of tries.
import { RESULT_OK } from '../wire/messages';
import { COMMAND_ID, commandPayload, type Command } from './commands';
import { encodeFrame } from './codec';
import type { Ack, BoardMessage } from './messages';

export interface Patience {
  /** Microseconds without an answer, on either clock, after which a command is sent again. */
  readonly timeout_us: number;
  /** Times a command is sent before it is given up. */
  readonly tries: number;
}

export type CommandResult =
  | { readonly ok: true; readonly reply: BoardMessage; readonly tries: number }
  | { readonly ok: false; readonly why: 'refused'; readonly ack: Ack; readonly tries: number }
  | { readonly ok: false; readonly why: 'no-answer'; readonly tries: number };

export type TimeBase = 'device' | 'host';

interface Waiting {
  readonly command: Command;
  readonly done: (result: CommandResult) => void;
}

/** One clock: its latest time (-1 before the first), and how much of it has passed since a command was sent. */
class Waited {
  last_us = -1;
  waited_us = 0;
}

/** What answers a command when it goes well; every command can also be refused by an ack. */
function answers(command: Command, message: BoardMessage): boolean {
  switch (command.name) {
    case 'hello': return message.type === 'identity';
    case 'describe': return message.type === 'channel' && message.channel === command.channel;
    case 'status': return message.type === 'status';
    default: return false;
  }
}

/**
 * Sends commands in order. Time is told to it on one or both clocks (device ticks of rows, host time); a command is
 * overdue when either has moved on by the timeout. Callbacks run inside {@link message}, {@link time} and {@link abandon}.
 */
export class CommandChannel {
  /** Commands sent again for want of an answer. */
  resent = 0;

  // Counted apart: the board takes the same id with the same number for a repeat, so permits must not use numbers up.
  private sequence = 0;
  private urgentSequence = 0;
  private readonly queue: Waiting[] = [];
  private current: Waiting | null = null;
  private frame: Uint8Array = new Uint8Array(0);
  private currentSequence = 0;
  private tries = 0;
  private readonly device = new Waited();
  private readonly host = new Waited();

  constructor(
    private readonly send: (frame: Uint8Array) => void,
    private readonly patience: Patience,
  ) {}

  /** Commands waiting or outstanding. */
  get pending(): number {
    return this.queue.length + (this.current === null ? 0 : 1);
  }

  /** Queues a command; `done` is called once, with the answer, the refusal or `no-answer`. */
  request(command: Command, done: (result: CommandResult) => void): void {
    this.queue.push({ command, done });
    this.next();
  }

  /** Sends a command past the queue, once, expecting nothing: permits, and stops that are repeated until they show. */
  urgent(command: Command): void {
    this.urgentSequence = (this.urgentSequence + 1) & 0xff;
    this.send(encodeFrame(commandPayload(command, this.urgentSequence)));
  }

  /** Drops everything that waits and the outstanding command, without calling back: a stop overtakes them all. */
  abandon(): void {
    this.queue.length = 0;
    this.current = null;
  }

  /** Offers a message of the board. Returns true when it answered the outstanding command. */
  message(message: BoardMessage): boolean {
    const current = this.current;
    if (current === null) return false;
    if (answers(current.command, message)) {
      this.finish(current, { ok: true, reply: message, tries: this.tries });
      return true;
    }
    if (message.type !== 'ack' || message.commandSequence !== this.currentSequence) return false;
    if (message.command !== COMMAND_ID[current.command.name]) return false;
    if (message.result !== RESULT_OK) this.finish(current, { ok: false, why: 'refused', ack: message, tries: this.tries });
    else if (!expectsMore(current.command)) this.finish(current, { ok: true, reply: message, tries: this.tries });
    return true;
  }

  /** Tells the time on one clock; sends again or gives up when the outstanding command is overdue. */
  time(base: TimeBase, now_us: number): void {
    const clock = base === 'device' ? this.device : this.host;
    const before = clock.last_us;
    clock.last_us = now_us;
    if (this.current === null) return;
    if (before >= 0) clock.waited_us += Math.max(0, now_us - before);
    if (clock.waited_us < this.patience.timeout_us) return;
    if (this.tries >= this.patience.tries) {
      this.finish(this.current, { ok: false, why: 'no-answer', tries: this.tries });
      return;
    }
    this.resent++;
    this.transmit();
  }

  private next(): void {
    if (this.current !== null) return;
    const waiting = this.queue.shift();
    if (waiting === undefined) return;
    this.current = waiting;
    this.currentSequence = this.take();
    this.frame = encodeFrame(commandPayload(waiting.command, this.currentSequence));
    this.tries = 0;
    this.transmit();
  }

  private transmit(): void {
    this.tries++;
    this.device.waited_us = 0;
    this.host.waited_us = 0;
    this.send(this.frame);
  }

  private finish(waiting: Waiting, result: CommandResult): void {
    this.current = null;
    waiting.done(result);
    this.next();
  }

  private take(): number {
    this.sequence = (this.sequence + 1) & 0xff;
    return this.sequence;
  }
}

/** An ack alone does not complete a command that is answered by a message of its own. */
function expectsMore(command: Command): boolean {
  return command.name === 'hello' || command.name === 'describe' || command.name === 'status';
}
