// SIMULATED instrument: a programmable supply that follows the queue and error rules of IEEE 488.2 and SCPI-1999. Its make is
// ours and no real supply's. It interprets commands only; what it sets, and what its meters see, is somebody else's plant.
import { ErrorQueue, EVENT, eventBit, InstrumentError, type ErrorCode } from './errors';
import { headerPattern, readBoolean, readNumber, readUnit, splitOutside, type Unit } from './syntax';

/** What the instrument feeds. */
export interface Plant {
  /** Called whenever something was set. */
  set(state: { readonly voltage_V: number; readonly current_limit_A: number; readonly output: boolean }): void;
  read(): { readonly voltage_V: number; readonly current_A: number; readonly limiting: boolean };
}

/** Ways in which the instrument misbehaves when a test wants it. */
export type Misbehaviour = 'none' | 'silent' | 'ignores-voltage' | 'ignores-output' | 'garbage' | 'endless-errors' | 'output-falls-off';

export interface InstrumentOptions {
  readonly most_V?: number;
  readonly most_A?: number;
  /** Entries of the error queue. */
  readonly queue?: number;
  readonly identity?: string;
  /** Told every message that it hears. */
  readonly onMessage?: (message: string) => void;
}

const IDENTITY = 'SPOOLBENCH,SIMULATED-SUPPLY,0,1';
/** Longest program message, bytes. */
const INPUT_BUFFER = 1024;
/** SCPI-1999 volume 2, STATus:QUEStionable: bit 0 voltage, bit 1 current. A supply at its current limit questions its voltage. */
const QUESTIONABLE_VOLTAGE = 1;
const QUESTIONABLE_CURRENT = 2;

type Handler = (data: readonly string[]) => string | null;
interface Row {
  readonly pattern: RegExp;
  readonly query: boolean;
  /** How many data it takes, least and most. */
  readonly takes: readonly [number, number];
  readonly run: Handler;
}

export class Instrument {
  misbehaviour: Misbehaviour = 'none';
  readonly errors: ErrorQueue;
  private held = '';
  private overrun = false;
  private voltage_V = 0;
  private limit_A: number;
  private protection_V: number;
  private output = false;
  private protectionTripped = false;
  private events: number = EVENT.powerOn;
  private eventEnable = 0;
  private serviceEnable = 0;
  private readonly rows: readonly Row[];
  private readonly most_V: number;
  private readonly most_A: number;

  constructor(private readonly plant: Plant, private readonly options: InstrumentOptions = {}) {
    this.most_V = options.most_V ?? 30;
    this.most_A = options.most_A ?? 40;
    this.limit_A = this.most_A;
    this.protection_V = this.most_V * 1.1;
    this.errors = new ErrorQueue(options.queue ?? 20);
    this.rows = this.table();
  }

  get state(): { readonly voltage_V: number; readonly current_limit_A: number; readonly over_voltage_V: number; readonly output: boolean } {
    return { voltage_V: this.voltage_V, current_limit_A: this.limit_A, over_voltage_V: this.protection_V, output: this.output };
  }

  /** Bytes in (Latin-1), answers out. */
  receive(bytes: Uint8Array): Uint8Array {
    let out = '';
    for (const b of bytes) {
      if (b !== 0x0a) {
        if (this.held.length < INPUT_BUFFER) this.held += String.fromCharCode(b);
        else this.overrun = true;
        continue;
      }
      const message = this.held.trim();
      this.held = '';
      if (this.overrun) this.complain('-363', '');
      else if (message !== '') out += this.message(message);
      this.overrun = false;
    }
    return Uint8Array.from(out, (c) => c.charCodeAt(0));
  }

  private message(message: string): string {
    this.options.onMessage?.(message);
    if (this.misbehaviour === 'silent') return '';
    if (this.misbehaviour === 'garbage') return message.includes('?') ? '\u00ff\u0013&%\n' : '';
    this.watchProtection();
    const answers: string[] = [];
    let path: readonly string[] = [];
    for (const text of splitOutside(message, ';')) {
      try {
        if (text.trim() === '') throw new InstrumentError('-102', message);
        const read = readUnit(text.trim(), path);
        path = read.path;
        const answer = this.run(read.unit);
        if (answer !== null) answers.push(answer);
      } catch (error) {
        if (!(error instanceof InstrumentError)) throw error;
        this.complain(error.code, error.detail);
        // A command error gives up the rest of the message (IEEE 488.2, 6.1.7.2); the answers before it stay.
        if (eventBit(error.code) === EVENT.command) break;
      }
    }
    return answers.length === 0 ? '' : `${answers.join(';')}\n`;
  }

  private run(unit: Unit): string | null {
    const row = this.rows.find((r) => r.query === unit.query && r.pattern.test(unit.header));
    if (row === undefined) throw new InstrumentError('-113', `${unit.header}${unit.query ? '?' : ''}`);
    if (unit.data.length < row.takes[0]) throw new InstrumentError('-109', unit.header);
    if (unit.data.length > row.takes[1]) throw new InstrumentError('-108', unit.data[row.takes[1]]);
    return row.run(unit.data);
  }

  private complain(code: ErrorCode, detail: string): void {
    this.events |= eventBit(code);
    this.errors.push(code, detail);
  }

  private table(): Row[] {
    const command = (pattern: string, takes: 0 | 1, run: (datum: string) => void): Row => ({
      pattern: headerPattern(pattern), query: false, takes: [takes, takes],
      run: (data) => { run(data[0] ?? ''); return null; },
    });
    const query = (pattern: string, run: (datum: string | undefined) => string, most: 0 | 1 = 0): Row => ({
      pattern: headerPattern(pattern), query: true, takes: [0, most], run: (data) => run(data[0]),
    });
    const level = (pattern: string, unit: 'V' | 'A', least: number, most: number, get: () => number, set: (value: number) => void): Row[] => [
      command(pattern, 1, (datum) => { set(within(datum, unit, least, most)); this.apply(); }),
      query(pattern, (datum) => nr2(datum === undefined ? get() : within(datum, unit, least, most)), 1),
    ];
    return [
      ...level('[SOURce:]VOLTage[:LEVel][:IMMediate][:AMPLitude]', 'V', 0, this.most_V, () => this.voltage_V, (v) => {
        if (v > this.protection_V) throw new InstrumentError('-221', `VOLT ${nr2(v)} above VOLT:PROT ${nr2(this.protection_V)}`);
        if (this.misbehaviour !== 'ignores-voltage') this.voltage_V = v;
      }),
      ...level('[SOURce:]CURRent[:LEVel][:IMMediate][:AMPLitude]', 'A', 0, this.most_A, () => this.limit_A, (a) => { this.limit_A = a; }),
      ...level('[SOURce:]VOLTage:PROTection[:LEVel]', 'V', 0, this.most_V * 1.1, () => this.protection_V, (v) => {
        if (v < this.voltage_V) throw new InstrumentError('-221', `VOLT:PROT ${nr2(v)} below VOLT ${nr2(this.voltage_V)}`);
        this.protection_V = v;
      }),
      query('[SOURce:]VOLTage:PROTection:TRIPped', () => (this.protectionTripped ? '1' : '0')),
      command('OUTPut:PROTection:CLEar', 0, () => { this.protectionTripped = false; }),
      command('OUTPut[:STATe]', 1, (datum) => {
        const on = readBoolean(datum);
        if (this.misbehaviour === 'ignores-output') return;
        this.output = on && !this.protectionTripped && this.misbehaviour !== 'output-falls-off';
        this.apply();
      }),
      query('OUTPut[:STATe]', () => (this.output ? '1' : '0')),
      query('MEASure[:SCALar]:VOLTage[:DC]', () => nr3(this.plant.read().voltage_V)),
      query('MEASure[:SCALar]:CURRent[:DC]', () => nr3(this.plant.read().current_A)),
      query('STATus:QUEStionable:CONDition', () => String(!this.output ? QUESTIONABLE_VOLTAGE | QUESTIONABLE_CURRENT : this.plant.read().limiting ? QUESTIONABLE_VOLTAGE : QUESTIONABLE_CURRENT)),
      command('INSTrument:NSELect', 1, (datum) => { if (datum !== '1') throw new InstrumentError('-222', datum); }),
      query('SYSTem:ERRor[:NEXT]', () => (this.misbehaviour === 'endless-errors' ? '-310,"System error"' : this.errors.take())),
      query('SYSTem:VERSion', () => '1999.0'),
      query('*IDN', () => this.options.identity ?? IDENTITY),
      query('*ESR', () => { const events = this.events; this.events = 0; return String(events); }),
      command('*ESE', 1, (datum) => { this.eventEnable = byte(datum); }),
      query('*ESE', () => String(this.eventEnable)),
      command('*SRE', 1, (datum) => { this.serviceEnable = byte(datum); }),
      query('*SRE', () => String(this.serviceEnable)),
      query('*STB', () => String(this.statusByte())),
      query('*TST', () => '0'),
      query('*OPC', () => '1'),
      command('*OPC', 0, () => { this.events |= EVENT.operationComplete; }),
      command('*WAI', 0, () => undefined),
      command('*CLS', 0, () => { this.errors.clear(); this.events = 0; }),
      command('*RST', 0, () => {
        this.output = false;
        this.voltage_V = 0;
        this.limit_A = this.most_A;
        this.protection_V = this.most_V * 1.1;
        this.protectionTripped = false;
        this.apply();
      }),
    ];
  }

  /** Bit 2: error queue not empty (SCPI-1999 volume 1, 9); bit 5: event summary (IEEE 488.2, 11.2). */
  private statusByte(): number {
    return (this.errors.length > 0 ? 4 : 0) | ((this.events & this.eventEnable) !== 0 ? 32 : 0);
  }

  /** Over-voltage protection, looked at whenever the instrument is spoken to. */
  private watchProtection(): void {
    if (!this.output || this.plant.read().voltage_V <= this.protection_V) return;
    this.protectionTripped = true;
    this.output = false;
    this.apply();
  }

  private apply(): void {
    this.plant.set({ voltage_V: this.voltage_V, current_limit_A: this.limit_A, output: this.output });
  }
}

/** @throws InstrumentError -222 outside; `MIN` and `MAX` stand for the ends */
function within(datum: string, unit: 'V' | 'A', least: number, most: number): number {
  const word = datum.toUpperCase();
  if (word === 'MIN' || word === 'MINIMUM') return least;
  if (word === 'MAX' || word === 'MAXIMUM') return most;
  const value = readNumber(datum, unit);
  if (!(value >= least && value <= most)) throw new InstrumentError('-222', datum);
  // It sets whole millivolts and milliamperes.
  return Math.round(value * 1000) / 1000;
}

function byte(datum: string): number {
  if (!/^\d+$/.test(datum)) throw new InstrumentError('-104', datum);
  if (Number(datum) > 255) throw new InstrumentError('-222', datum);
  return Number(datum);
}

const nr2 = (value: number): string => value.toFixed(3);
/** `+7.600000E+00`. */
function nr3(value: number): string {
  const [mantissa, exponent] = value.toExponential(6).split('e');
  const power = Number(exponent);
  return `${value < 0 ? '' : '+'}${mantissa}E${power < 0 ? '-' : '+'}${String(Math.abs(power)).padStart(2, '0')}`;
}
