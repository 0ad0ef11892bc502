// The simulated rig behind a real port, in real time: what stands on the other end of the wire when no board is at hand.
import type { BoardPort, OpenBoard } from '../host/board-port';
import type { Article, Rig } from '../model/files';
import { BOARD_STATES, THROTTLE_FULL, type BoardState } from '../model/sample';
import type { TripCode } from '../model/trip';
import { codeOf } from '../station/wire-tables';
import { TwinBoard } from '../twin/board';
import { physicalChannels, twinParameters } from '../twin/configure';
import { MapCache, SimulatedRig, type RigParameters } from '../twin/physics';
import { BadInput } from './errors';
import { HANDS, handle } from './twin-hands';

export interface TwinServeInput {
  readonly rig: Rig;
  readonly article: Article;
  /** Which simulated bench stands behind the port, and the seed of its random draws, which is also the board's serial number. */
  readonly twin: string;
  readonly seed: number;
  readonly open: OpenBoard;
  /** A steady clock, µs. */
  readonly now_us: () => number;
  readonly tell: (happening: TwinHappening) => void;
}

/** What happened on the simulated bench. */
export type TwinHappening =
  | { readonly what: 'port'; readonly t_s: number; readonly text: string }
  | { readonly what: 'state'; readonly t_s: number; readonly state: BoardState; readonly cause: TripCode | null; readonly throttle: number; readonly speed_rpm: number }
  | { readonly what: 'still'; readonly t_s: number }
  | { readonly what: 'late'; readonly t_s: number; readonly lost_ms: number }
  | { readonly what: 'supply'; readonly t_s: number; readonly output: boolean; readonly voltage_V: number }
  | { readonly what: 'hands'; readonly t_s: number; readonly text: string };

/** Time that the computer took away is made up for up to here; beyond it the bench's time stands still, as if it had paused. */
const CATCH_UP_US = 100_000;
/** A port that is gone is looked for again so often. */
const AGAIN_US = 200_000;

/** The rig file as the simulated bench takes it: a board behind a port has no twin in its link, and its supply is a real one. */
export function asTwin(rig: Rig, twin: string, seed: number): Rig {
  const link = rig.link.kind === 'twin' ? { ...rig.link, twin, seed, faults: [] } : { kind: 'twin' as const, twin, seed, noise: 'usual' as const, faults: [] };
  return { ...rig, link, supply: { ...rig.supply, kind: 'twin' } as Rig['supply'] };
}

/** Operating points that have been worked out, shared by all simulated benches of this process. */
const MAPS = new MapCache();

/**
 * Plays through the usual operating points beforehand, on a bench of its own: each takes milliseconds the first time, too long
 * where time is real.
 */
function workOut(parameters: RigParameters): void {
  for (const propeller of [true, false]) {
    const bench = new SimulatedRig(parameters, { seed: 1, noise: false, maps: MAPS });
    bench.setPropeller(propeller);
    const play = (from: number, to: number, seconds: number): void => {
      const steps = (seconds * 1e6) / REHEARSAL_TICK_US;
      for (let i = 0; i < steps; i++) bench.step(from + ((to - from) * i) / steps, REHEARSAL_TICK_US);
    };
    play(0, 1, 3);
    play(1, 0, 3);
    for (const level of [0.1, 0.3, 0.5, 0.75, 1]) {
      play(level, level, 0.4);
      play(0.1, 0.1, 0.4);
    }
    for (const level of [0.2, 0.5, 1]) {
      play(0, 0, 1);
      play(level, level, 0.4);
    }
  }
}
const REHEARSAL_TICK_US = 1000;

export class TwinServer {
  readonly sim: SimulatedRig;
  readonly board: TwinBoard;
  private readonly rig: Rig;
  private port: BoardPort | null = null;
  private opening = false;
  private tried_us = -Infinity;
  private zero_us: number | null = null;
  private state = -1;
  private still = true;
  private closed = false;

  constructor(private readonly input: TwinServeInput) {
    this.rig = asTwin(input.rig, input.twin, input.seed);
    const parameters = twinParameters(this.rig, input.article);
    this.sim = new SimulatedRig(parameters, { seed: input.seed, noise: this.rig.link.kind !== 'twin' || this.rig.link.noise !== 'none', maps: MAPS });
    workOut(parameters);
    this.sim.setPropeller(input.article.propeller.mounted);
    this.sim.setSupply(this.rig.supply.voltage_V, this.rig.supply.current_limit_A);
    this.board = new TwinBoard(this.sim, this.rig, physicalChannels(this.rig), input.seed);
  }

  /** Opens the port for the first time. Rejects with what is wrong with it. */
  async start(): Promise<void> {
    await this.openPort();
  }

  /** Bench time follows the clock; call it every millisecond or so. */
  step(): void {
    if (this.closed) return;
    const now_us = this.input.now_us();
    this.zero_us ??= now_us - this.board.now_us;
    const behind_us = now_us - this.zero_us - this.board.now_us;
    if (behind_us > CATCH_UP_US) {
      this.zero_us += behind_us - CATCH_UP_US;
      this.input.tell({ what: 'late', t_s: this.t_s(), lost_ms: (behind_us - CATCH_UP_US) / 1000 });
    }
    this.board.advanceTo(now_us - this.zero_us);
    const bytes = this.board.take();
    if (bytes.length > 0) this.port?.send(bytes);
    this.look();
    if (this.port === null && !this.opening && now_us - this.tried_us > AGAIN_US) void this.openPort().catch(() => undefined);
  }

  /** What a person does at the bench, in words, see {@link HANDS}. Returns what came of it. */
  hands(line: string): string {
    const text = handle(line, this.sim, this.board, this.rig);
    this.input.tell({ what: 'hands', t_s: this.t_s(), text });
    return text;
  }

  /** A program has set the supply of the bench. */
  supplyChanged(output: boolean, voltage_V: number): void {
    this.input.tell({ what: 'supply', t_s: this.t_s(), output, voltage_V });
  }

  /** News about how the bench is reached. */
  tellPort(text: string): void {
    this.input.tell({ what: 'port', t_s: this.t_s(), text });
  }

  async close(): Promise<void> {
    this.closed = true;
    await this.port?.close();
  }

  private t_s(): number {
    return this.board.now_us / 1e6;
  }

  /** The board keeps its own supply: a port that comes and goes does not reset it. */
  private async openPort(): Promise<void> {
    this.opening = true;
    this.tried_us = this.input.now_us();
    try {
      const port = await this.input.open({
        onBytes: (bytes) => { this.board.receive(bytes); },
        onLost: (reason) => {
          this.port = null;
          this.tellPort(reason);
        },
      });
      this.port = port;
      this.tellPort(`The simulated board is on ${port.name}.`);
      if (this.closed) await port.close();
    } finally {
      this.opening = false;
    }
  }

  private look(): void {
    const { board, sim } = this;
    if (board.state !== this.state) {
      this.state = board.state;
      const state = BOARD_STATES[board.state] ?? 'tripped';
      this.input.tell({ what: 'state', t_s: this.t_s(), state, cause: state === 'tripped' ? codeOf(board.cause) : null, throttle: board.throttle / THROTTLE_FULL, speed_rpm: sim.truth.speed_rpm });
    }
    const still = sim.truth.speed_rpm === 0;
    if (still !== this.still) {
      this.still = still;
      if (still) this.input.tell({ what: 'still', t_s: this.t_s() });
    }
  }
}

/** Checks what only running would find. @throws BadInput */
export function checkServed(rig: Rig, article: Article, twin: string, seed: number): void {
  try {
    const played = asTwin(rig, twin, seed);
    physicalChannels(played);
    twinParameters(played, article);
  } catch (error) {
    throw new BadInput([error instanceof Error ? error.message : String(error)], { cause: error });
  }
}

export { HANDS };
