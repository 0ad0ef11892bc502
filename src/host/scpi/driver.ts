// A programmable supply (IEEE 488.2, SCPI-1999) that does what it was asked, or says by name why not and what to do. After
// every command the error queue is read; what was set is read back. A verb that fails leaves the output off.
import type { ScpiSupplyFile } from '../../model/files/rig-supply';
import { showsLimiting } from '../../model/supply-limiting';
import { adviceFor, entryText, SupplyError } from './errors';
import type { OpenLine } from './line';
import { parseBoolean, parseErrorEntry, parseIdentity, parseNumber, ScpiSyntaxError, type ErrorEntry, type Identity } from './responses';
import { ScpiSession } from './session';

/** What the supply's own meters say. */
export interface Measured {
  readonly voltage_V: number;
  readonly current_A: number;
  /** It holds the current, not the voltage. */
  readonly limiting: boolean;
}

export interface ScpiSupplyOptions {
  readonly file: ScpiSupplyFile;
  readonly open: OpenLine;
  /** Told of what is worth a word and no fault: old errors in its queue, a connection that broke. */
  readonly onNote?: (text: string) => void;
}

/** An error queue that is longer never ends. SCPI-1999 asks for at least two entries; instruments keep 10 to 50. */
const MOST_ERRORS = 100;
/** What is set is sent with this many decimals: 0.1 mV, 0.1 mA. */
const DECIMALS = 4;

export class ScpiSupply {
  /** Who it is; set once it was greeted. */
  identity: Identity | null = null;
  private session: ScpiSession | null = null;
  /** The output may be on: from before it is told so until it has confirmed that it is off. */
  private on = false;
  /** The connection ended while the output may have been on, for this reason. */
  private lostWhileOn: string | null = null;
  private set_V: number;
  private last: Promise<void> = Promise.resolve();
  private closing: Promise<void> | null = null;

  private constructor(private readonly options: ScpiSupplyOptions, volts: number) {
    this.set_V = volts;
  }

  /**
   * Greets the supply and sets it up: output off, protection, current limit, voltage. The output stays off.
   * @param volts what to set
   * @throws SupplyError by name, with what to do
   */
  static async open(options: ScpiSupplyOptions, volts: number): Promise<ScpiSupply> {
    const supply = new ScpiSupply(options, volts);
    supply.refuseOutside(volts);
    await supply.inTurn(() => supply.start());
    return supply;
  }

  /** Sets the voltage and reads it back. The output stays as it is. @throws SupplyError */
  setVoltage(volts: number): Promise<void> {
    return this.inTurn(async () => {
      this.refuseOutside(volts);
      await this.ready();
      await this.program(volts);
    });
  }

  /** Switches the output and asks whether it is so. Switching off reconnects where it must. @throws SupplyError */
  output(on: boolean): Promise<void> {
    return this.inTurn(async () => {
      if (on) await this.ready();
      else await this.reachable();
      await this.switchOutput(on);
    });
  }

  /** What its meters say. @throws SupplyError */
  measure(): Promise<Measured> {
    return this.inTurn(async () => {
      await this.ready();
      const { commands, current_limit_A } = this.options.file;
      this.select();
      const voltage_V = await this.askNumber(commands.read_voltage);
      const current_A = await this.askNumber(commands.read_current);
      const status = commands.read_limiting === null ? null : await this.askNumber(commands.read_limiting);
      const limiting = status === null ? this.on && showsLimiting(current_A, voltage_V, current_limit_A, this.set_V) : (status & 1) === 1;
      return { voltage_V, current_A, limiting };
    });
  }

  /** Switches the output off at once, past anything that waits. Never throws, asks nothing: call `output(false)` after it to be sure. */
  cut(): void {
    this.session?.cut();
  }

  /** Output off, then lets go. Never rejects, may be called again; what fails is told as a note. */
  close(): Promise<void> {
    return (this.closing ??= this.letGo());
  }

  private async letGo(): Promise<void> {
    const wasOn = this.on;
    try {
      await this.inTurn(async () => {
        if (this.session?.alive !== true && !this.on) return;
        await this.reachable();
        await this.switchOutput(false);
      });
    } catch (error) {
      // A new greeting switches off first: what failed after that says nothing about the output.
      if (!wasOn || this.on) this.note(`The supply could not be switched off at the end: ${error instanceof Error ? error.message : String(error)} Switch it off by hand.`);
    }
    await this.session?.close();
  }

  // ---- in turn, connected -----------------------------------------------------------------------------------------

  /** One verb after the other; one that fails leaves the output off. */
  private async inTurn<T>(verb: () => Promise<T>): Promise<T> {
    const before = this.last;
    let release: () => void = () => undefined;
    this.last = new Promise((resolve) => { release = resolve; });
    await before;
    try {
      return await verb();
    } catch (error) {
      if (this.on && !(error instanceof SupplyError && error.fault === 'OUT_OF_RANGE')) this.cut();
      throw error;
    } finally {
      release();
    }
  }

  /** Connected, and nothing was lost meanwhile that the caller counts on. */
  private async ready(): Promise<void> {
    const lost = this.lostWhileOn;
    await this.reachable();
    if (lost !== null) {
      throw new SupplyError('LOST', `${lost} Its output was on; it has been greeted anew and is switched off. Find the cause (cable, power), then start again.`);
    }
  }

  /** Connected. A new connection believes nothing: who it is, output off, everything set again. */
  private async reachable(): Promise<void> {
    if (this.session?.alive !== true) await this.start();
  }

  private async start(): Promise<void> {
    const { file, open } = this.options;
    const session = await ScpiSession.open(open, file.answer_within_s * 1000, (why) => {
      if (!this.on || this.closing !== null) return;
      this.lostWhileOn = why;
      this.note(why);
    });
    this.session = session;
    try {
      await this.greet(session);
      session.lastWords = file.commands.off;
      await this.setUp(session);
    } catch (error) {
      session.cut();
      throw error;
    }
  }

  private async setUp(session: ScpiSession): Promise<void> {
    const { file } = this.options;
    const { commands } = file;
    const old = await this.drain();
    if (old.length > 0) this.note(`${session.name} had errors in its queue from before: ${old.map(entryText).join(', ')}.`);
    await this.switchOutput(false);
    // Down first, so that neither an old voltage nor an old protection stands in the way of the new ones.
    if (file.over_voltage_V !== null) {
      await this.tell(commands.voltage, file.range_V.from);
      await this.tell(commands.over_voltage, file.over_voltage_V);
      await this.confirm('over-voltage protection', 'V', commands.confirm_over_voltage, file.over_voltage_V);
    }
    await this.tell(commands.current_limit, file.current_limit_A);
    await this.confirm('current limit', 'A', commands.confirm_current_limit, file.current_limit_A);
    await this.program(this.set_V);
  }

  private async greet(session: ScpiSession): Promise<void> {
    const { file } = this.options;
    const answer = await session.askText(file.commands.identity);
    try {
      this.identity = parseIdentity(answer);
    } catch (cause) {
      throw new SupplyError('NOT_OURS', `${session.name} is no SCPI instrument: ${messageOf(cause)}. Correct supply.connection in the rig file.`, { cause });
    }
    if (file.identity !== null && !this.identity.text.toUpperCase().startsWith(file.identity.toUpperCase())) {
      throw new SupplyError('NOT_OURS', `${session.name} says that it is "${this.identity.text}"; the rig file expects "${file.identity}…". Correct supply.connection or supply.identity.`);
    }
  }

  // ---- what is said to it -----------------------------------------------------------------------------------------

  private async program(volts: number): Promise<void> {
    const { commands } = this.options.file;
    await this.tell(commands.voltage, volts);
    this.set_V = volts;
    await this.confirm('voltage', 'V', commands.confirm_voltage, volts);
  }

  private async switchOutput(on: boolean): Promise<void> {
    const { commands } = this.options.file;
    this.on = this.on || on;
    await this.tell(on ? commands.on : commands.off, null);
    if (commands.confirm_output !== null) {
      const is = await this.asked(commands.confirm_output, parseBoolean);
      if (is !== on) {
        const advice = on ? 'Has its over-voltage protection tripped, or is the output locked at the front panel? Clear it there' : 'Cut the power by hand';
        throw new SupplyError('OUTPUT_STATE', `${this.name} was told "${on ? commands.on : commands.off}" and says that its output is ${is ? 'on' : 'off'}. ${advice}.`);
      }
    }
    this.on = on;
    if (!on) this.lostWhileOn = null;
  }

  /** A command with its number, and the error queue after it. */
  private async tell(command: string, value: number | null): Promise<void> {
    const { session } = this;
    if (session === null) throw new Error('the supply is told something before it was greeted');
    this.select();
    const text = value === null ? command : command.replaceAll('{}', numberText(value));
    session.command(text);
    const [first, ...more] = await this.drain();
    if (first === undefined) return;
    const also = more.length === 0 ? '' : ` Also: ${more.map(entryText).join(', ')}.`;
    throw new SupplyError('ERROR_REPORTED', `${session.name} answered "${text}" with error ${entryText(first)}: ${adviceFor(first.code)}.${also}`);
  }

  /** What follows is meant for this output. */
  private select(): void {
    const { commands, output } = this.options.file;
    if (commands.select !== null) this.session?.command(commands.select.replaceAll('{}', String(output)));
  }

  /** Everything in the error queue, oldest first. */
  private async drain(): Promise<ErrorEntry[]> {
    const entries: ErrorEntry[] = [];
    while (entries.length < MOST_ERRORS) {
      const entry = await this.asked(this.options.file.commands.error, parseErrorEntry);
      if (entry.code === 0) return entries;
      entries.push(entry);
    }
    throw new SupplyError('ERROR_REPORTED', `${this.name} still has errors after ${MOST_ERRORS} were read, the last one ${entryText(entries[MOST_ERRORS - 1])}. Switch it off and on; check supply.commands.error.`);
  }

  private async confirm(what: string, unit: string, question: string | null, wanted: number): Promise<void> {
    if (question === null) return;
    const { tolerance } = this.options.file;
    const is = await this.askNumber(question);
    if (Math.abs(is - wanted) <= tolerance * Math.abs(wanted)) return;
    throw new SupplyError(
      'READ_BACK',
      `${this.name}: the ${what} was set to ${numberText(wanted)} ${unit} and reads back as ${numberText(is)} ${unit}, ${(100 * (is / wanted - 1)).toFixed(1)} % off (accepted: ${numberText(100 * tolerance)} %). ` +
      'It ignores the command, is locked, or rounds: try the command by hand, then correct supply.commands or supply.tolerance in the rig file.',
    );
  }

  private askNumber(question: string): Promise<number> {
    return this.asked(question, (text) => parseNumber(text).value);
  }

  private async asked<T>(question: string, parse: (text: string) => T): Promise<T> {
    if (this.session === null) throw new Error('the supply is asked something before it was greeted');
    const answer = await this.session.askText(question);
    try {
      return parse(answer);
    } catch (cause) {
      if (!(cause instanceof ScpiSyntaxError)) throw cause;
      throw new SupplyError('UNREADABLE', `${this.name} answered "${question}" with something else: ${cause.message}. Correct supply.commands in the rig file.`, { cause });
    }
  }

  private refuseOutside(volts: number): void {
    const { range_V, over_voltage_V } = this.options.file;
    if (!(volts >= range_V.from && volts <= range_V.to)) throw new SupplyError('OUT_OF_RANGE', `${numberText(volts)} V is outside supply.range, ${range_V.from} V .. ${range_V.to} V; nothing was sent.`);
    if (over_voltage_V !== null && volts >= over_voltage_V) throw new SupplyError('OUT_OF_RANGE', `${numberText(volts)} V is not below supply.over_voltage, ${over_voltage_V} V; nothing was sent.`);
  }

  private get name(): string {
    return `The supply at ${this.session?.name ?? '?'}`;
  }

  private note(text: string): void {
    this.options.onNote?.(text);
  }
}

function numberText(value: number): string {
  return String(Number(value.toFixed(DECIMALS)));
}

function messageOf(error: unknown): string {
  return error instanceof Error ? error.message : String(error);
}
