// The simulated bench as a world: physics and controller core, the station in the same process, virtual time. Nothing sleeps.
import { Observable, Subject } from 'rxjs';
import type { ChannelFact, ChannelKind } from '../model/channel';
import type { BenchEvent } from '../model/events';
import type { Article, Rig } from '../model/files';
import type { RigLimits } from '../model/files/rig';
import type { SampleBlock } from '../model/sample';
import type { Permit } from '../model/trip';
import type { Bench } from '../sequencer/ports';
import { Station } from '../station/station';
import { TwinBoard } from '../twin/board';
import { faultNamed, physicalChannels, settingName, twinParameters } from '../twin/configure';
import type { MapCache} from '../twin/physics';
import { SETTING_NAMES, SimulatedRig } from '../twin/physics';
import { BadInput } from './errors';
import { DeviceClock } from './virtual-time';
import type { Readings, World } from './world';

/** Bytes travel in slices of this much bench time, about the latency of a USB link. */
const SLICE_US = 10_000;
/** While the bench rests, slices are longer: nothing waits for bytes. */
const RESTING_SLICE_US = 100_000;
/** Bytes pass between board and station at most so often without time going on. */
const EXCHANGES_MOST = 1000;
/** Real time between two chances for signals and prints, ms. */
const BREATHE_EVERY_MS = 25;
const STANDSTILL_WITHIN_S = 60;
/** A rig whose sensors stay silent for longer is refused when it is armed, with the reason. */
const FIRST_SAMPLES_WITHIN_S = 2;

export interface TwinWorldInput {
  readonly rig: Rig;
  readonly article: Article;
  readonly channels: readonly ChannelFact[];
  readonly seed?: number;
  readonly maps?: MapCache;
  /** Limits of one layer that differ from the rig file's, to prove the other layer alone. */
  readonly layers?: { readonly station?: RigLimits; readonly board?: RigLimits };
  /** The simulated supply is set from outside, by a simulated instrument. */
  readonly fed?: boolean;
  /** Lets the real event loop turn. */
  readonly breathe: () => Promise<void>;
  /** Real time, ms, to know when to breathe; nothing else depends on it. */
  readonly now_ms: () => number;
}

/** A second of bench time passes in milliseconds here: a kill costs no more real time than 100 ms of it do on a real bench. */
const RECORD_FLUSH_US = 1_000_000;

/** Speed of the load cell's beam right after a tap, N/s: it swings about 0.5 N wide at 95 Hz. */
const TAP_Nps = 300;

export class TwinWorld implements World {
  readonly recordFlush_us = RECORD_FLUSH_US;
  readonly clock = new DeviceClock();
  readonly blocks: Observable<SampleBlock>;
  readonly bench: Bench;
  private readonly blockSubject = new Subject<SampleBlock>();
  private readonly eventSubject = new Subject<BenchEvent>();
  private readonly sim: SimulatedRig;
  private readonly board: TwinBoard;
  private station: Station;
  private supply_V: number;
  private propeller: boolean;
  private mounted = 1;
  private muted = false;
  private faultEnds_us: number | null = null;
  private breathed_ms = 0;

  constructor(private readonly input: TwinWorldInput) {
    const { rig, article } = input;
    const link = rig.link.kind === 'twin' ? rig.link : null;
    const seed = input.seed ?? link?.seed ?? 1;
    this.supply_V = article.nominal_voltage_V;
    this.propeller = article.propeller.mounted;
    this.sim = new SimulatedRig(twinParameters(rig, article), { seed, noise: link?.noise !== 'none', ...(input.maps === undefined ? {} : { maps: input.maps }) });
    this.sim.setPropeller(this.propeller);
    this.sim.setSupply(this.supply_V, rig.supply.current_limit_A);
    this.board = new TwinBoard(this.sim, rig, physicalChannels(rig), seed);
    this.blocks = this.blockSubject.asObservable();
    this.station = this.newStation();
    this.bench = this.lifted();
  }

  /** The simulated rig, for graders and for tests that inject faults. The station never sees it. */
  get simulated(): SimulatedRig {
    return this.sim;
  }

  async connect(): Promise<void> {
    let problem: string | null | undefined;
    this.station.connect((error) => {
      problem = error === null ? null : error.message;
    });
    await this.playUntil(() => problem !== undefined, 5);
    if (problem !== null) throw new BadInput([problem ?? 'the board did not answer to the handshake within 5 s']);
    await this.playUntil(() => this.everySlowChannelSpoke(), FIRST_SAMPLES_WITHIN_S);
  }

  /** Every channel but speed has delivered something: a motor at rest has no speed to tell. */
  private everySlowChannelSpoke(): boolean {
    return this.input.channels.every((c) => c.kind === 'speed' || !Number.isNaN(this.station.latest(c.id)));
  }

  async playUntil(done: () => boolean, within_s = Infinity): Promise<boolean> {
    const end_us = this.board.now_us + within_s * 1e6;
    while (!done()) {
      if (this.board.now_us >= end_us) return false;
      this.step(Math.min(end_us, this.board.now_us + (this.board.resting ? RESTING_SLICE_US : SLICE_US)));
      const now = this.input.now_ms();
      if (now - this.breathed_ms > BREATHE_EVERY_MS) {
        await this.input.breathe();
        this.breathed_ms = this.input.now_ms();
      }
    }
    return true;
  }

  readings(): Readings {
    const of = (kind: ChannelKind): number | null => {
      const channel = this.input.channels.find((c) => c.kind === kind);
      const value = channel === undefined ? NaN : this.station.latest(channel.id);
      return Number.isNaN(value) ? null : value;
    };
    return { motor_degC: of('motor_temperature'), esc_degC: of('esc_temperature'), speed_rpm: of('speed'), current_A: of('current'), voltage_V: of('voltage') };
  }

  beginRun(): void {
    const { link } = this.input.rig;
    if (link.kind !== 'twin') return;
    const now = this.sim.now_us;
    for (const fault of link.faults) this.sim.inject(faultNamed(fault.fault), now + fault.at_s * 1e6);
    const bounded = link.faults.filter((f) => f.for_s !== null).map((f) => now + (f.at_s + (f.for_s ?? 0)) * 1e6);
    this.faultEnds_us = bounded.length === link.faults.length && bounded.length > 0 ? Math.max(...bounded) : null;
  }

  endRun(): void {
    this.sim.clearFaults();
    this.faultEnds_us = null;
  }

  async setSupply(volts: number): Promise<void> {
    if (volts === this.supply_V) return;
    this.supply_V = volts;
    if (this.input.fed !== true) this.sim.setSupply(volts, this.input.rig.supply.current_limit_A);
    await this.reopen();
  }

  async outputOff(): Promise<boolean> {
    if (this.input.fed === true) return false;
    this.sim.setOutput(false);
    await this.playUntil(() => false, this.input.rig.supply.settle_s);
    return true;
  }

  async outputOn(): Promise<boolean> {
    if (this.input.fed === true) return false;
    this.sim.setOutput(true);
    await this.playUntil(() => false, this.input.rig.supply.settle_s);
    return true;
  }

  async setPropeller(on: boolean): Promise<void> {
    if (on === this.propeller) return;
    await this.standstill();
    this.propeller = on;
    this.sim.setPropeller(on);
    await this.reopen();
  }

  setParameter(name: string, value: number): void {
    this.sim.setSetting(settingName(name), value);
  }

  follow(name: string, value: number | null): void {
    const known = SETTING_NAMES.find((n) => n === name);
    if (known !== undefined && value !== null) this.sim.setSetting(known, value);
  }

  async remount(mounting: number): Promise<void> {
    if (mounting < this.mounted) throw new RangeError(`mounting ${mounting} is gone: the simulated article has been mounted ${this.mounted} times`);
    await this.standstill();
    for (; this.mounted < mounting; this.mounted++) this.sim.remount();
  }

  mute(on: boolean): boolean {
    this.muted = on;
    return true;
  }

  tapStand(): boolean {
    // A knock much shorter than a period changes the speed of the beam, not its place; that speed is in units of force here.
    this.sim.loadCell.rate_Nps += TAP_Nps;
    return true;
  }

  pressStop(pressed: boolean): boolean {
    this.board.stopInput(pressed);
    return true;
  }

  async clearTrip(why: string): Promise<readonly string[]> {
    let permit: Permit | null = null;
    this.station.clearTrip({ by: 'campaign', note: why }, (p) => {
      permit = p;
    });
    await this.playUntil(() => permit !== null, 5);
    return (permit as Permit | null)?.reasons ?? ['the board did not answer'];
  }

  close(): void {
    this.station.flush();
    this.blockSubject.complete();
    this.eventSubject.complete();
  }

  /** Bench time goes on to `until_us`; everything that follows from it happens before this returns. */
  private step(until_us: number): void {
    if (this.faultEnds_us !== null && this.sim.now_us >= this.faultEnds_us) this.endRun();
    this.board.advanceTo(until_us);
    this.station.hostTime(this.board.now_us);
    for (let n = 0; n < EXCHANGES_MOST; n++) {
      const bytes = this.board.take();
      if (bytes.length === 0) break;
      this.station.receive(bytes);
    }
    this.clock.advanceTo(this.board.now_us);
  }

  private newStation(): Station {
    const { rig, article, channels, layers } = this.input;
    return new Station({
      ...(layers === undefined ? {} : { limits: layers.station ?? rig.limits, boardLimits: layers.board ?? rig.limits }),
      rig, article, facts: channels, supply_V: this.supply_V, propeller: this.propeller,
      send: (bytes) => { if (!this.muted) this.board.receive(bytes); },
      onBlock: (block) => this.blockSubject.next(block),
      onEvent: (event) => this.eventSubject.next(event),
    });
  }

  /** A station knows its supply and propeller for life: what changes them greets the board anew. */
  private async reopen(): Promise<void> {
    this.station.flush();
    this.station = this.newStation();
    await this.connect();
  }

  private async standstill(): Promise<void> {
    const still = await this.playUntil(() => this.sim.truth.speed_rpm === 0, STANDSTILL_WITHIN_S);
    if (!still) throw new Error(`the simulated rotor still turns at ${this.sim.truth.speed_rpm.toFixed(0)} rpm after ${STANDSTILL_WITHIN_S} s`);
  }

  private lifted(): Bench {
    return {
      blocks: this.blocks,
      events: this.eventSubject.asObservable(),
      permit: () => this.station.permit(),
      arm: () => new Observable<Permit>((subscriber) => {
        this.station.arm((permit) => {
          subscriber.next(permit);
          subscriber.complete();
        });
      }),
      feed: (segments) => this.station.feed(segments),
      start: (bound_s) => this.station.start(bound_s),
      endSegment: (ordinal) => this.station.endSegment(ordinal),
      finishSegment: () => this.station.finishSegment(),
      stopNow: () => this.station.stopNow(),
      beat: () => this.station.beat(),
      closest: () => this.station.closest(),
    };
  }
}
