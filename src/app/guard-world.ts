// A real bench as a world: the guard process owns the board, this is what the use cases see of it. Time is real.
import type { StartGuard } from '../host/guard/guard-process';
import type { BoardNote, FromGuard, StationSetup } from '../host/guard/messages';
import { sharedClock_us } from '../host/guard/shared-clock';
import type { LinkErrorCode } from '../link/errors';
import type { ChannelFact, ChannelKind } from '../model/channel';
import type { LinkHealth } from '../model/events';
import type { Article, Rig } from '../model/files';
import type { RigLimits } from '../model/files/rig';
import { USUAL_PATIENCE } from '../station/config';
import { BadInput } from './errors';
import { GuardBench } from './guard-bench';
import { GuardClock } from './guard-clock';
import { ANSWER_WITHIN_S, GuardTalk } from './guard-talk';
import type { SupplyPort } from './supply-port';
import type { Readings, World } from './world';

/** The guard's program starts within, s. */
const START_WITHIN_S = 30;
const FIRST_SAMPLES_WITHIN_S = 2;
const TRIPPED_BEFORE: LinkErrorCode = 'TRIPPED_BEFORE';
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
  readonly bench: GuardBench;
  readonly blocks: GuardBench['blocks'];
  private readonly talk: GuardTalk;
  private lost: string | null = null;
  private greeted = false;
  private heldTrip: string | null = null;
  private supply_V: number;
  private propeller: boolean;
  private boardNote: BoardNote | null = null;
  /** The link was lost since the board was last told of: it may have been reset meanwhile, and why is news. */
  private lostSince = false;

  constructor(private readonly input: GuardWorldInput) {
    this.supply_V = input.rig.supply.voltage_V;
    this.propeller = input.article.propeller.mounted;
    this.talk = new GuardTalk({
      start: input.start, hear: (message) => { this.hear(message); }, gone: (reason) => { this.guardGone(reason); }, othersBeat: () => this.bench.armed,
    });
    this.bench = new GuardBench(this.talk);
    this.blocks = this.bench.blocks;
  }

  /** Who answered; null before. */
  get board(): BoardNote | null {
    return this.boardNote;
  }

  /** Process id of the guard, for messages and tests. */
  get guardPid(): number | undefined {
    return this.talk.pid;
  }

  health(): LinkHealth | null {
    return this.bench.state?.health ?? null;
  }

  async connect(): Promise<void> {
    const { talk } = this;
    if (talk.start()) this.bench.state = null;
    const ready = await this.playUntil(() => talk.started || talk.gone !== null, START_WITHIN_S);
    if (!ready || talk.gone !== null) throw new BadInput([talk.gone ?? `the guard process did not start within ${START_WITHIN_S} s`]);
    const answer = await talk.ask((id) => ({ type: 'connect', id, link: this.input.rig.link, setup: this.setup() }));
    if (answer?.type !== 'connected') throw new BadInput([talk.gone ?? `no answer to the handshake within ${ANSWER_WITHIN_S} s`]);
    this.greeted = answer.problem === null;
    this.heldTrip = answer.code === TRIPPED_BEFORE ? answer.problem : null;
    // A board that tells of an old trip is there; whoever clears it looks at what it measures.
    if (answer.problem === null || answer.code === TRIPPED_BEFORE) this.lost = null;
    if (answer.problem !== null) throw new BadInput([answer.code === TRIPPED_BEFORE ? `${answer.problem} (spoolbench rig clear)` : answer.problem]);
    this.tellBoard(answer.board);
    await this.playUntil(() => talk.gone !== null || this.everySlowChannelSpoke(), FIRST_SAMPLES_WITHIN_S);
  }

  playUntil(done: () => boolean, within_s = Infinity): Promise<boolean> {
    return this.talk.playUntil(done, within_s);
  }

  readings(): Readings {
    const { state } = this.bench;
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
    this.talk.post({ type: 'full-rows', on });
  }

  mute(on: boolean): boolean {
    this.talk.post({ type: 'mute', on });
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
    if (this.lost !== null || this.talk.gone !== null) {
      // A lost link is not taken up again where it broke: a new port, a new greeting, and a board that is safe.
      return await this.reconnect();
    }
    const answer = await this.talk.ask((id) => ({ type: 'clear-trip', id, act: { by: 'campaign', note: why } }));
    if (answer?.type !== 'answer') return [this.talk.gone ?? 'the board did not answer'];
    // The greeting that met the trip went no further.
    return answer.permit.granted && !this.greeted ? await this.reconnect() : answer.permit.reasons;
  }

  close(): void {
    void this.closed();
  }

  /** As {@link close}; resolves when the motor stands still, the port is free and the guard has ended. */
  async closed(): Promise<void> {
    await this.talk.close();
    await this.input.supply?.close();
    this.bench.complete();
  }

  // ---- the guard --------------------------------------------------------------------------------------------------

  private hear(message: FromGuard): void {
    if (message.type === 'state') {
      this.bench.state = message.state;
      this.clock.take(message.state);
    } else if (message.type === 'lost') {
      this.lost = message.reason;
      this.lostSince = true;
      this.input.note?.(message.reason);
    } else {
      if (message.type === 'event' && message.event.type === 'tripped' && message.event.trip.code === 'LINK_LOST') {
        this.lost ??= message.event.trip.detail;
        this.lostSince = true;
      }
      this.bench.take(message);
    }
  }

  private guardGone(reason: string): void {
    this.talk.gone = `${reason} The board stops by itself when nobody speaks to it (host_silence).`;
    this.input.note?.(this.talk.gone);
    this.bench.lost(this.talk.gone, this.clock.now_us());
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
    const { rig, article, channels, layers } = this.input;
    const { link } = rig;
    const silence_s = link.kind === 'serial' ? Math.max(link.silence_s, ROWS_IN_SILENCE / rig.row_rate_Hz) : null;
    return {
      ...(layers === undefined ? {} : { limits: layers.station ?? rig.limits, boardLimits: layers.board ?? rig.limits }),
      ...(silence_s === null ? {} : { linkSilence_s: silence_s, patience: patienceFor(silence_s) }), uid: link.kind === 'serial' ? link.board : null,
      rig, article, facts: channels, supply_V: this.supply_V, propeller: this.propeller,
    };
  }

  private tellBoard(board: BoardNote | null): void {
    const before = this.boardNote;
    this.boardNote = board;
    if (board === null || (before?.uid === board.uid && before.reset === board.reset && !this.lostSince)) return;
    this.lostSince = false;
    this.input.note?.(`Board 0x${board.uid.toString(16).padStart(8, '0')} on ${board.port}, firmware ${board.firmware}; it last started by ${board.reset}.`);
  }

  private everySlowChannelSpoke(): boolean {
    return this.input.channels.every((c) => c.kind === 'speed' || !Number.isNaN(this.bench.state?.latest[c.id] ?? NaN));
  }
}
