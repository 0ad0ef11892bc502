// A real bench as a world: the guard process owns the board, this is what the use cases see of it. Time is real.
import { Observable, Subject } from 'rxjs';
import { startGuard, type GuardHandle, type StartGuard } from '../host/guard/guard-process';
import { BEAT_EVERY_MS, type BoardNote, type FromGuard, type GuardState, type StationSetup, type ToGuard } from '../host/guard/messages';
import { sharedClock_us } from '../host/guard/shared-clock';
import type { LinkErrorCode } from '../link/errors';
import type { ChannelFact, ChannelKind } from '../model/channel';
import type { BenchEvent, LinkHealth } from '../model/events';
import type { Article, Rig } from '../model/files';
import type { RigLimits } from '../model/files/rig';
import type { SampleBlock } from '../model/sample';
import type { Permit } from '../model/trip';
import type { Bench } from '../sequencer/ports';
import { USUAL_PATIENCE } from '../station/config';
import { BadInput } from './errors';
import { GuardClock } from './guard-clock';
import type { SupplyPort } from './supply-port';
import type { Readings, World } from './world';

/** Answers of the guard are waited for this long, s: a greeting may take as long as a board takes to start. */
const ANSWER_WITHIN_S = 15;
/** The guard's program starts within, s. */
const START_WITHIN_S = 30;
const FIRST_SAMPLES_WITHIN_S = 2;
const TRIPPED_BEFORE: LinkErrorCode = 'TRIPPED_BEFORE';
/** Conditions are looked at so often while nothing is told, ms. */
const LOOK_EVERY_MS = 10;
/** A silent link must not be taken for one: rows are this many times as frequent. */
const ROWS_IN_SILENCE = 4;

export interface GuardWorldInput {
  readonly rig: Rig;
  readonly article: Article;
  readonly channels: readonly ChannelFact[];
  /** The supply, where a program can set it. */
  readonly supply?: SupplyPort | null;
  /** Limits of one layer that differ from the rig file's, to prove the other layer alone. */
  readonly layers?: { readonly station?: RigLimits; readonly board?: RigLimits };
  /** Serial number that the board must have. */
  readonly uid?: number | null;
  /** News for a person: which board answered and why it last started. */
  readonly note?: (text: string) => void;
  readonly start?: StartGuard;
}

/** A command is given up no sooner than the link itself would be. */
function patienceFor(silence_s: number): typeof USUAL_PATIENCE {
  const { timeout_us, tries } = USUAL_PATIENCE;
  return { timeout_us, tries: Math.max(tries, Math.ceil((silence_s * 1e6) / timeout_us) + 1) };
}

export class GuardWorld implements World {
  readonly clock = new GuardClock(sharedClock_us);
  readonly blocks: Observable<SampleBlock>;
  readonly bench: Bench;
  private readonly blockSubject = new Subject<SampleBlock>();
  private readonly eventSubject = new Subject<BenchEvent>();
  private guard: GuardHandle | null = null;
  private started = false;
  private state: GuardState | null = null;
  /** Why nothing can be done any more; null while the guard lives. */
  private gone: string | null = null;
  private lost: string | null = null;
  private greeted = false;
  private heldTrip: string | null = null;
  /** From the order to arm until standstill the sequencer must show itself to be alive; else this process does. */
  private armed = false;
  private beats: NodeJS.Timeout | null = null;
  private beaten_us = -Infinity;
  private readonly waiting = new Map<number, (message: FromGuard) => void>();
  private readonly woken = new Set<() => void>();
  private nextId = 1;
  private supply_V: number;
  private propeller: boolean;
  private boardNote: BoardNote | null = null;
  private fault: string | null = null;

  constructor(private readonly input: GuardWorldInput) {
    this.supply_V = input.rig.supply.voltage_V;
    this.propeller = input.article.propeller.mounted;
    this.blocks = this.blockSubject.asObservable();
    this.bench = this.lifted();
  }

  /** Who answered; null before. */
  get board(): BoardNote | null {
    return this.boardNote;
  }

  /** Process id of the guard, for messages and tests. */
  get guardPid(): number | undefined {
    return this.guard?.pid;
  }

  health(): LinkHealth | null {
    return this.state?.health ?? null;
  }

  async connect(): Promise<void> {
    this.startGuard();
    const ready = await this.playUntil(() => this.started || this.gone !== null, START_WITHIN_S);
    if (!ready || this.gone !== null) throw new BadInput([this.gone ?? `the guard process did not start within ${START_WITHIN_S} s`]);
    const answer = await this.ask((id) => ({ type: 'connect', id, link: this.input.rig.link, setup: this.setup() }));
    if (answer?.type !== 'connected') throw new BadInput([this.gone ?? `no answer to the handshake within ${ANSWER_WITHIN_S} s`]);
    this.greeted = answer.problem === null;
    this.heldTrip = answer.code === TRIPPED_BEFORE ? answer.problem : null;
    // A board that tells of an old trip is there; whoever clears it looks at what it measures.
    if (answer.problem === null || answer.code === TRIPPED_BEFORE) this.lost = null;
    if (answer.problem !== null) throw new BadInput([answer.code === TRIPPED_BEFORE ? `${answer.problem} (spoolbench rig clear)` : answer.problem]);
    this.tellBoard(answer.board);
    await this.playUntil(() => this.gone !== null || this.everySlowChannelSpoke(), FIRST_SAMPLES_WITHIN_S);
  }

  async playUntil(done: () => boolean, within_s = Infinity): Promise<boolean> {
    const end_us = sharedClock_us() + within_s * 1e6;
    while (!done()) {
      if (sharedClock_us() >= end_us) return false;
      await this.wake(Math.min(LOOK_EVERY_MS, Math.max(0, (end_us - sharedClock_us()) / 1000)));
    }
    return true;
  }

  readings(): Readings {
    const { state } = this;
    const of = (kind: ChannelKind): number | null => {
      const channel = this.input.channels.find((c) => c.kind === kind);
      const value = channel === undefined ? NaN : (state?.latest[channel.id] ?? NaN);
      return Number.isNaN(value) || this.lost !== null ? null : value;
    };
    return { motor_degC: of('motor_temperature'), esc_degC: of('esc_temperature'), speed_rpm: of('speed'), current_A: of('current'), voltage_V: of('voltage') };
  }

  /** Faults can be asked of the simulated rig only. */
  beginRun(): void {
    return undefined;
  }

  endRun(): void {
    return undefined;
  }

  /** Sets a supply that a program can set. A person has set any other by now: only the station is told. */
  async setSupply(volts: number): Promise<void> {
    if (volts === this.supply_V) return;
    // A new station looks for the new voltage; told first, the old one would take the change for a sag.
    await this.input.supply?.setVoltage(volts);
    this.supply_V = volts;
    await this.connect();
  }

  async outputOff(): Promise<boolean> {
    if (this.input.supply === undefined || this.input.supply === null) return false;
    await this.input.supply.output(false);
    return true;
  }

  async outputOn(): Promise<boolean> {
    const { supply, rig } = this.input;
    if (supply === undefined || supply === null) return false;
    await supply.output(true);
    await this.playUntil(() => false, rig.supply.settle_s);
    return true;
  }

  /** A person has mounted it, or taken it off: the station is told. */
  async setPropeller(on: boolean): Promise<void> {
    if (on === this.propeller) return;
    this.propeller = on;
    await this.connect();
  }

  setParameter(name: string): void {
    throw new BadInput([`${name}: a real rig cannot set this by itself; accepted: apply: operator or apply: command`]);
  }

  /** A real article is as the person or the program left it. */
  follow(): void {
    return undefined;
  }

  remount(): Promise<void> {
    return Promise.resolve();
  }

  /** Full rows also while nothing runs, or slow ones again. */
  fullRows(on: boolean): void {
    this.post({ type: 'full-rows', on });
  }

  mute(on: boolean): boolean {
    this.post({ type: 'mute', on });
    return true;
  }

  /** The stop button of a real board is pressed by a person. */
  pressStop(): boolean {
    return false;
  }

  /** What the board said of a trip that it holds from before this connection; null when it holds none. */
  oldTrip(): string | null {
    return this.heldTrip;
  }

  async clearTrip(why: string): Promise<readonly string[]> {
    if (this.lost !== null || this.gone !== null) {
      // A lost link is not taken up again where it broke: a new port, a new greeting, and a board that is safe.
      return await this.reconnect();
    }
    const answer = await this.ask((id) => ({ type: 'clear-trip', id, act: { by: 'campaign', note: why } }));
    if (answer?.type !== 'answer') return [this.gone ?? 'the board did not answer'];
    // The greeting that met the trip went no further.
    return answer.permit.granted && !this.greeted ? await this.reconnect() : answer.permit.reasons;
  }

  close(): void {
    void this.closed();
  }

  /** As {@link close}; resolves when the motor stands still, the port is free and the guard has ended. */
  async closed(): Promise<void> {
    this.stopBeats();
    const { guard } = this;
    this.guard = null;
    await guard?.close();
    await this.input.supply?.close();
    this.blockSubject.complete();
    this.eventSubject.complete();
  }

  // ---- the guard --------------------------------------------------------------------------------------------------

  private startGuard(): void {
    if (this.guard !== null && this.gone === null) return;
    this.gone = null;
    this.started = false;
    this.state = null;
    const guard = (this.input.start ?? startGuard)({
      message: (message) => { this.take(message); },
      gone: (reason) => { if (this.guard === guard) this.guardGone(reason); },
    });
    this.guard = guard;
    this.stopBeats();
    this.beats = setInterval(() => { if (!this.armed) this.post({ type: 'beat' }); }, BEAT_EVERY_MS);
  }

  private stopBeats(): void {
    if (this.beats !== null) clearInterval(this.beats);
    this.beats = null;
  }

  private take(message: FromGuard): void {
    switch (message.type) {
      case 'ready':
        this.started = true;
        break;
      case 'state':
        this.state = message.state;
        this.clock.take(message.state);
        break;
      case 'block':
        this.blockSubject.next(message.block);
        break;
      case 'event':
        if (message.event.type === 'stopped') this.armed = false;
        if (message.event.type === 'tripped' && message.event.trip.code === 'LINK_LOST') this.lost ??= message.event.trip.detail;
        this.eventSubject.next(message.event);
        break;
      case 'lost':
        this.lost = message.reason;
        this.input.note?.(message.reason);
        break;
      case 'connected':
      case 'answer':
        this.waiting.get(message.id)?.(message);
        break;
      case 'fault':
        this.fault = message.detail;
        break;
      case 'leaving':
        break;
    }
    this.wakeAll();
  }

  /** Nobody measures any more whether the motor stands still: a run that is on is told so, by the loss of its bench. */
  private guardGone(reason: string): void {
    this.gone = `${reason} The board stops by itself when nobody speaks to it (host_silence).`;
    this.armed = false;
    this.stopBeats();
    this.input.note?.(this.gone);
    const lost: BenchEvent = {
      type: 'tripped', tick_us: this.clock.now_us(),
      trip: { code: 'HOST_FAULT', by: 'station', tick_us: this.clock.now_us(), value: null, limit: null, unit: '', channel: null, ordinal: 0, detail: this.gone },
    };
    this.eventSubject.next(lost);
    this.eventSubject.next({ type: 'stopped', tick_us: this.clock.now_us(), confirmed: false, took_us: 0, detail: 'Nothing is measured any more: the guard process is gone.' });
    this.wakeAll();
  }

  private post(message: ToGuard): void {
    this.guard?.post(message);
  }

  /** Asks, and waits for the answer; null when none comes. */
  private async ask(question: (id: number) => ToGuard): Promise<FromGuard | null> {
    const id = this.nextId++;
    let answer: FromGuard | null = null;
    this.waiting.set(id, (message) => { answer = message; });
    this.post(question(id));
    await this.playUntil(() => answer !== null || this.gone !== null, ANSWER_WITHIN_S);
    this.waiting.delete(id);
    return answer;
  }

  private async reconnect(): Promise<readonly string[]> {
    try {
      await this.connect();
      return [];
    } catch (error) {
      if (error instanceof BadInput) return error.lines;
      throw error;
    }
  }

  private setup(): StationSetup {
    const { rig, article, channels, layers, uid } = this.input;
    const silence_s = rig.link.kind === 'serial' ? Math.max(rig.link.silence_s, ROWS_IN_SILENCE / rig.row_rate_Hz) : null;
    return {
      ...(layers === undefined ? {} : { limits: layers.station ?? rig.limits, boardLimits: layers.board ?? rig.limits }),
      ...(silence_s === null ? {} : { linkSilence_s: silence_s, patience: patienceFor(silence_s) }), ...(uid === undefined ? {} : { uid }),
      rig, article, facts: channels, supply_V: this.supply_V, propeller: this.propeller,
    };
  }

  private tellBoard(board: BoardNote | null): void {
    const before = this.boardNote;
    this.boardNote = board;
    if (board === null || (before !== null && before.uid === board.uid)) return;
    this.input.note?.(`Board ${board.uid.toString(16).padStart(8, '0')} on ${board.port}, firmware ${board.firmware}; it last started by ${board.reset}.`);
  }

  private everySlowChannelSpoke(): boolean {
    return this.input.channels.every((c) => c.kind === 'speed' || !Number.isNaN(this.state?.latest[c.id] ?? NaN));
  }

  private wake(ms: number): Promise<void> {
    return new Promise((resolve) => {
      const wake = (): void => {
        clearTimeout(timer);
        this.woken.delete(wake);
        resolve();
      };
      const timer = setTimeout(wake, ms);
      this.woken.add(wake);
    });
  }

  private wakeAll(): void {
    for (const wake of [...this.woken]) wake();
  }

  private lifted(): Bench {
    return {
      blocks: this.blocks,
      events: this.eventSubject.asObservable(),
      permit: () => this.permit(),
      arm: () => new Observable<Permit>((subscriber) => {
        const id = this.nextId++;
        this.armed = true;
        this.waiting.set(id, (message) => {
          this.waiting.delete(id);
          if (message.type !== 'answer') return;
          if (!message.permit.granted) this.armed = false;
          subscriber.next(message.permit);
          subscriber.complete();
        });
        this.post({ type: 'arm', id });
        return () => { this.waiting.delete(id); };
      }),
      feed: (segments) => this.post({ type: 'feed', segments }),
      start: (bound_s) => this.post({ type: 'start', bound_s }),
      endSegment: (ordinal) => this.post({ type: 'end-segment', ordinal }),
      finishSegment: () => this.post({ type: 'finish-segment' }),
      stopNow: () => this.post({ type: 'stop-now' }),
      beat: () => this.beat(),
      closest: () => this.state?.closest ?? [],
    };
  }

  /** What the guard could not do for the sequencer is told to it as other benches do: by an error of a verb. */
  private throwFault(): void {
    const { fault } = this;
    this.fault = null;
    if (fault !== null) throw new Error(fault);
  }

  private permit(): Permit {
    if (this.gone !== null) return { granted: false, reasons: [this.gone] };
    return this.state?.permit ?? { granted: false, reasons: ['The board is not connected.'] };
  }

  /** Callers may beat as often as they look; the guard needs no more than a few a second. */
  private beat(): void {
    this.throwFault();
    const now_us = sharedClock_us();
    if (now_us - this.beaten_us < (BEAT_EVERY_MS * 1000) / 4) return;
    this.beaten_us = now_us;
    this.post({ type: 'beat' });
  }
}
