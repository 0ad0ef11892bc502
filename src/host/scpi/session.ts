// One command or question at a time to an instrument. Whatever leaves question and answer out of step ends the connection: a
// late answer must never be taken for the next one.
import { SupplyError } from './errors';
import type { Line, OpenLine } from './line';
import { ResponseReader } from './response-reader';

interface Waiting {
  readonly question: string;
  readonly take: (answer: Uint8Array) => void;
  readonly fail: (error: SupplyError) => void;
  readonly limit: NodeJS.Timeout;
}

export class ScpiSession {
  private line: Line | null = null;
  private reader = new ResponseReader();
  private waiting: Waiting | null = null;
  /** Why the connection is of no use any more; null while it is. */
  private gone: string | null = null;
  /** Sent before the connection is given up for whatever reason, where the line still carries it: the command that switches off. */
  lastWords: string | null = null;

  private constructor(private readonly answer_ms: number, private readonly onGone: (why: string) => void) {}

  /** @param onGone told once when the connection ends by itself or is given up. @throws SupplyError UNREACHABLE */
  static async open(open: OpenLine, answer_ms: number, onGone: (why: string) => void): Promise<ScpiSession> {
    const session = new ScpiSession(answer_ms, onGone);
    session.line = await open({
      onBytes: (bytes) => { session.receive(bytes); },
      onLost: (reason) => { session.giveUp(new SupplyError('LOST', `The connection to the supply is lost: ${reason}.`)); },
    });
    return session;
  }

  get name(): string {
    return this.line?.name ?? '';
  }

  get alive(): boolean {
    return this.gone === null;
  }

  /** Sends a command that has no answer. */
  command(text: string): void {
    this.line?.send(`${text}\n`);
  }

  /** Asks and waits for the answer. Callers wait for one answer before the next question. @throws SupplyError NO_ANSWER, LOST, UNREADABLE */
  ask(question: string): Promise<Uint8Array> {
    return new Promise((take, fail) => {
      if (this.gone !== null) {
        fail(new SupplyError('LOST', `"${question}" cannot be asked: ${this.gone}`));
        return;
      }
      if (this.waiting !== null) throw new Error(`"${question}" is asked before "${this.waiting.question}" is answered`);
      const limit = setTimeout(() => {
        this.giveUp(new SupplyError('NO_ANSWER', `${this.name} did not answer "${question}" within ${this.answer_ms} ms. Is it an SCPI instrument, is its remote control on, and is supply.answer_within long enough?`));
      }, this.answer_ms);
      this.waiting = { question, take, fail, limit };
      this.command(question);
    });
  }

  /** {@link ask} for an answer in plain text. */
  async askText(question: string): Promise<string> {
    return new TextDecoder('latin1').decode(await this.ask(question));
  }

  /**
   * Says the last words at once, past a question that still waits, and gives the connection up: the instrument may drop or
   * still send that answer (IEEE 488.2, 6.3.2.3: query interrupted).
   */
  cut(): void {
    this.giveUp(new SupplyError('LOST', 'The supply was cut off meanwhile.'));
  }

  /** Lets go; what was sent still goes out. */
  async close(): Promise<void> {
    this.gone ??= 'the connection is closed';
    this.fail(new SupplyError('LOST', 'The connection to the supply was closed.'));
    await this.line?.close();
  }

  private receive(bytes: Uint8Array): void {
    if (this.gone !== null) return;
    let answers: Uint8Array[];
    try {
      answers = this.reader.push(bytes);
    } catch (cause) {
      this.giveUp(new SupplyError('UNREADABLE', `${this.name} sends what is no answer: ${cause instanceof Error ? cause.message : String(cause)}. Compare baud rate and port.`, { cause }));
      return;
    }
    for (const answer of answers) {
      const { waiting } = this;
      if (waiting === null) {
        this.giveUp(new SupplyError('UNREADABLE', `${this.name} answered without a question. Nothing else may talk to the supply at the same time.`));
        return;
      }
      this.waiting = null;
      clearTimeout(waiting.limit);
      waiting.take(answer);
    }
  }

  private giveUp(error: SupplyError): void {
    if (this.gone !== null) return;
    this.gone = error.message;
    if (this.lastWords !== null) this.command(this.lastWords);
    this.fail(error);
    void this.line?.close();
    this.onGone(error.message);
  }

  private fail(error: SupplyError): void {
    const { waiting } = this;
    this.waiting = null;
    if (waiting === null) return;
    clearTimeout(waiting.limit);
    waiting.fail(error);
  }
}
