// A bench for tests of the guard: the guard itself, the real controller core (wasm) with a made-up drive behind a port in memory,
// a main process that beats. Virtual time.
import type { BoardListener, BoardPort } from '../../src/host/board-port';
import { Guard } from '../../src/host/guard/guard';
import type { FromGuard, GuardState, StationSetup } from '../../src/host/guard/messages';
import { PortError } from '../../src/host/port-error';
import { instantiateCore } from '../../src/controller/wasm';
import { channelFacts } from '../../src/model/channel-facts';
import type { BenchEvent } from '../../src/model/events';
import type { Rig, RigLimits } from '../../src/model/files/rig';
import type { SampleBlock } from '../../src/model/sample';
import type { Segment } from '../../src/model/segment';
import type { Permit, Trip } from '../../src/model/trip';
import { RESET_SIMULATED } from '../../src/wire/messages';
import { KIND_ON_WIRE } from '../../src/station/wire-tables';
import { ARTICLE, level, numbered, Plant, RIG } from '../station/bench';

const SLICE_US = 5000;
const BEAT_US = 100_000;
export const UID = 77;
export const LONG: readonly Segment[] = [level(0.5, 20)];

/** A connection to the board: what was sent through it, and whether it is open. */
export interface Opened {
  /** On the way to the board; and all that was ever sent. */
  readonly sent: Uint8Array[];
  readonly all: Uint8Array[];
  readonly listener: BoardListener;
  open: boolean;
}

export interface Options {
  readonly rig?: Partial<Rig>;
  readonly limits?: Partial<RigLimits>;
  readonly setup?: Partial<StationSetup>;
}

export class GuardBench {
  readonly core = instantiateCore();
  readonly plant: Plant;
  readonly rig: Rig;
  readonly guard: Guard;
  readonly said: FromGuard[] = [];
  readonly ports: Opened[] = [];
  readonly throttles: { at_us: number; raw: number }[] = [];
  /** Nobody has pulled the plug. */
  plugged = true;
  boardAlive = true;
  mainAlive = true;
  /** The guard process lives: it is told the time, and hears bytes. */
  guardAlive = true;
  left = false;
  now_us = 0;
  /** Changes bytes on their way from the board. */
  fromBoard: (bytes: Uint8Array) => Uint8Array = (bytes) => bytes;
  private beaten_us = -Infinity;
  private readonly setup: StationSetup;
  private nextId = 1;

  constructor(options: Options = {}) {
    this.rig = { ...RIG, ...options.rig, limits: { ...RIG.limits, ...options.limits } };
    this.powerOn(1);
    this.plant = new Plant(this.core, this.rig);
    this.setup = { rig: this.rig, article: ARTICLE, facts: channelFacts(this.rig), supply_V: 7.6, propeller: true, linkSilence_s: 0.05, ...options.setup };
    this.guard = new Guard({
      openBoard: () => (listener) => this.open(listener),
      post: (message) => { this.said.push(structuredClone(message)); },
      now_us: () => this.now_us,
      left: () => { this.left = true; },
    });
  }

  /** The board (re)starts, for this reason. */
  powerOn(cause: number): void {
    this.core.init(this.rig.tick_us, UID, cause | RESET_SIMULATED);
    this.rig.channels.forEach((c, id) => {
      const exponent = Math.floor(Math.log10(c.gain)) - 6;
      this.core.declareChannel(id, KIND_ON_WIRE[c.kind], Math.round(c.gain / 10 ** exponent), exponent, c.zero, c.period_us);
    });
  }

  private open(listener: BoardListener): Promise<BoardPort> {
    if (!this.plugged) return Promise.reject(new PortError('MISSING', 'memory: there is no such port.'));
    const opened: Opened = { sent: [], all: [], listener, open: true };
    this.ports.push(opened);
    return Promise.resolve({
      name: 'memory',
      send: (bytes: Uint8Array) => {
        if (!opened.open) return;
        opened.sent.push(bytes.slice());
        opened.all.push(bytes.slice());
      },
      close: () => {
        opened.open = false;
        return Promise.resolve();
      },
    });
  }

  pull(): void {
    this.plugged = false;
    const port = this.ports.at(-1);
    if (port?.open !== true) return;
    port.open = false;
    port.listener.onLost('The port memory is lost: it is gone (ENXIO).');
  }

  // ---- time -------------------------------------------------------------------------------------------------------

  /** 5 ms of the bench. Promises of the guard go on between two slices. */
  private async slice(): Promise<void> {
    await new Promise((resolve) => { setImmediate(resolve); });
    const { core } = this;
    if (this.mainAlive && this.guardAlive && this.now_us - this.beaten_us >= BEAT_US) {
      this.beaten_us = this.now_us;
      this.guard.take({ type: 'beat' });
    }
    const port = this.ports.at(-1);
    const bytes = port?.sent.splice(0) ?? [];
    if (this.boardAlive && port?.open === true) for (const b of bytes) core.receive(b);
    for (let t = 0; t < SLICE_US; t += this.rig.tick_us) {
      this.now_us += this.rig.tick_us;
      if (!this.boardAlive) continue;
      const raw = core.tick(this.rig.tick_us);
      this.plant.throttle = raw / 10_000;
      this.throttles.push({ at_us: this.now_us, raw });
      this.plant.step(this.rig.tick_us, this.now_us);
    }
    const out = core.view.slice(0, core.outLength());
    core.drop(out.length);
    if (!this.guardAlive) return;
    const heard = this.fromBoard(out);
    if (this.boardAlive && port?.open === true && heard.length > 0) port.listener.onBytes(heard);
    this.guard.tick();
  }

  async run(seconds: number, until: () => boolean = () => false): Promise<boolean> {
    const end_us = this.now_us + seconds * 1e6;
    while (this.now_us < end_us) {
      await this.slice();
      if (until()) return true;
    }
    return false;
  }

  // ---- what the main process asks -----------------------------------------------------------------------------------

  async connect(): Promise<Extract<FromGuard, { type: 'connected' }>> {
    const id = this.nextId++;
    this.guard.take({ type: 'connect', id, link: this.rig.link, setup: this.setup });
    const answer = (): FromGuard | undefined => this.said.find((m) => m.type === 'connected' && m.id === id);
    await this.run(10, () => answer() !== undefined);
    const told = answer();
    if (told?.type !== 'connected') throw new Error('the guard did not answer');
    if (told.problem === null) await this.run(0.5);
    return told;
  }

  async ask(make: (id: number) => Parameters<Guard['take']>[0]): Promise<Permit> {
    const id = this.nextId++;
    this.guard.take(make(id));
    const answer = (): FromGuard | undefined => this.said.find((m) => m.type === 'answer' && m.id === id);
    await this.run(5, () => answer() !== undefined);
    const told = answer();
    if (told?.type !== 'answer') throw new Error('the guard did not answer');
    return told.permit;
  }

  clearTrip(note: string): Promise<Permit> {
    return this.ask((id) => ({ type: 'clear-trip', id, act: { by: 'operator', note } }));
  }

  /** Greets, arms, feeds, starts; the first segment plays when it resolves. */
  async start(segments: readonly Segment[] = LONG, bound_s = 60): Promise<this> {
    const { problem } = await this.connect();
    if (problem !== null) throw new Error(problem);
    return await this.again(segments, bound_s);
  }

  async again(segments: readonly Segment[] = LONG, bound_s = 60): Promise<this> {
    const permit = await this.ask((id) => ({ type: 'arm', id }));
    if (!permit.granted) throw new Error(permit.reasons.join(' '));
    this.guard.take({ type: 'feed', segments: numbered(segments) });
    this.guard.take({ type: 'start', bound_s });
    const before = this.of('segment-started').length;
    await this.run(1, () => this.of('segment-started').length > before);
    return this;
  }

  // ---- what was said ----------------------------------------------------------------------------------------------

  of<T extends BenchEvent['type']>(type: T): Extract<BenchEvent, { type: T }>[] {
    return this.said.flatMap((m) => (m.type === 'event' && m.event.type === type ? [m.event as Extract<BenchEvent, { type: T }>] : []));
  }

  get trips(): readonly Trip[] {
    return this.of('tripped').map((e) => e.trip);
  }

  get state(): GuardState | undefined {
    return this.said.findLast((m) => m.type === 'state')?.state;
  }

  get blocks(): readonly SampleBlock[] {
    return this.said.flatMap((m) => (m.type === 'block' ? [m.block] : []));
  }

  /** When the throttle was last above zero, µs. */
  get lastDriven_us(): number {
    return this.throttles.findLast((t) => t.raw > 0)?.at_us ?? -1;
  }
}
