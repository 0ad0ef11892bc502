// Trips and stops: what the judge and the board find, what goes out because of it, and when the motor is known to stand still.
import type { CommandChannel } from '../link/command-channel';
import type { LinkError } from '../link/errors';
import type { ChannelFact } from '../model/channel';
import type { BenchEvent } from '../model/events';
import { BOARD_STATES } from '../model/sample';
import type { Permit, Trip, TripCode } from '../model/trip';
import type { BusCheck } from '../safety/current-doubt';
import { condition, latchBoardTrip, startJudge, type JudgeSetup, type JudgeState } from '../safety/judge';
import { clearLatch, type ClearAct } from '../safety/latch';
import type { Channel } from '../safety/row';
import { StopWatch, type StopResult } from '../safety/stop';
import * as M from '../wire/messages';
import { tripOf, type BoardTrip } from './board-trip';
import type { Plan } from './config';
import { CODE_ON_WIRE } from './wire-tables';

/** Without rows a stop is given up this long after its time, on the host's clock. */
const STOP_GRACE_US = 1_000_000;
/** Slot number of a trip without a limit slot. */
const NO_SLOT = 255;

/** Share of the set voltage at which the bus still counts as fed where the rig names no sag. Rule of ours. */
const BUS_STANDS = 0.8;

function busOf(channel: Channel | undefined, { supply_V, limits }: JudgeSetup): BusCheck | null {
  return channel === undefined || supply_V === null ? null : { channel, least_V: (limits.supply_sag?.below ?? BUS_STANDS) * supply_V };
}

export interface SupervisionPorts {
  readonly commands: CommandChannel;
  readonly tell: (event: BenchEvent) => void;
  /** Nothing more may be fed, started or waited for. */
  readonly quit: () => void;
  /** The abort for trips that are about to be told is written. */
  readonly aborted: () => void;
  /** The motor was measured, or the measuring given up. */
  readonly stopped: () => void;
  readonly timeOf: (tick: number) => number;
}

export class Supervision {
  readonly judge: JudgeState;
  /** The board's state as its rows show it. */
  state: number = M.STATE_SAFE;
  private readonly stopWatch: StopWatch;
  private stopConfirmed = true;
  private stopBegan_us = 0;
  private stopPressed = false;
  /** The cause that {@link abortFor} has sent and {@link trips} has not told yet. */
  private sent: TripCode | null = null;
  private host_us = -1;

  constructor(
    private readonly plan: Plan,
    private readonly facts: readonly ChannelFact[],
    private readonly ports: SupervisionPorts,
  ) {
    this.judge = startJudge(plan.judge);
    const { channels } = this.judge.rules;
    this.stopWatch = new StopWatch({
      current: channels.find((c) => c.kind === 'current') ?? channels[0],
      speed: channels.find((c) => c.kind === 'speed') ?? null,
      limit: plan.rig.limits.stop,
      peak_A: plan.rig.limits.current_peak.above_A,
      bus: busOf(channels.find((c) => c.kind === 'voltage'), plan.judge),
    });
  }

  /** The judge is about to latch this cause: the abort goes out before its words are made. {@link trips} follows. */
  abortFor(cause: TripCode): void {
    this.sent = cause;
    this.ports.commands.urgent({ name: 'trip', cause: CODE_ON_WIRE[cause] });
    this.ports.aborted();
  }

  /** Trips that the judge latched: the abort goes out before anybody is told. */
  trips(trips: readonly Trip[] | null): void {
    if (trips === null) return;
    if (this.judge.latch.first?.code !== this.sent) {
      this.abort();
      this.ports.aborted();
    }
    this.sent = null;
    this.ports.quit();
    this.watchStop();
    for (const trip of trips) this.ports.tell({ type: 'tripped', tick_us: trip.tick_us, trip });
  }

  /** Sends the latched trip to a board that does not show it yet. True while there is a latched trip. */
  abort(): boolean {
    const { first } = this.judge.latch;
    if (first !== null && this.state !== M.STATE_TRIPPED) this.ports.commands.urgent({ name: 'trip', cause: CODE_ON_WIRE[first.code] });
    return first !== null;
  }

  /** The board tripped: by itself, or as an echo of our own abort. */
  boardTripped(board: BoardTrip, tick_us: number): void {
    const { first } = this.judge.latch;
    if (board.slot === NO_SLOT && first !== null && CODE_ON_WIRE[first.code] === board.cause) return;
    this.latch(tripOf(board, tick_us, this.plan.limits, this.facts));
  }

  /** Rows show another state of the board. */
  changeState(tick_us: number, state: number, cause: number, ordinal: number): void {
    this.state = state;
    this.ports.tell({ type: 'state', tick_us, state: BOARD_STATES[state] ?? 'tripped' });
    if (state !== M.STATE_TRIPPED || this.judge.latch.first !== null) return;
    // The frame that told why was lost: ask.
    this.ports.commands.request({ name: 'status' }, (result) => {
      const told = result.ok && result.reply.type === 'status' ? result.reply : null;
      const board: BoardTrip = told ?? { cause, slot: NO_SLOT, value: 0, limit: 0, ordinal };
      this.boardTripped(board, told === null ? tick_us : this.ports.timeOf(told.tick_us));
    });
  }

  /** The handshake found a board that was tripped before. */
  trippedBefore(error: LinkError): void {
    this.state = M.STATE_TRIPPED;
    this.stopConfirmed = false;
    this.latch({
      code: 'HOST_FAULT', by: 'controller', tick_us: this.judge.row.tick_us, value: null, limit: null, unit: '', channel: null, ordinal: 0, detail: error.message,
    });
  }

  /** A condition from elsewhere begins (a text for people) or ends (null). */
  outside(code: TripCode, detail: string | null): void {
    if (code === 'STOP_INPUT') this.stopPressed = detail !== null;
    const trip = condition(this.judge, code, detail);
    if (trip !== null) this.trips([trip]);
  }

  /** A fault of a moment: trips when armed, and does not stay as a condition. */
  trouble(code: TripCode, detail: string): void {
    this.outside(code, detail);
    condition(this.judge, code, null);
  }

  /** Clears the latch here and on the board; `done` receives every reason against it. */
  clear(act: ClearAct, done: (permit: Permit) => void): void {
    const cleared = clearLatch(this.judge.latch, act, { stopConfirmed: this.stopConfirmed, stopInput: this.stopPressed });
    if (!cleared.ok) {
      // Measured anew, so that asking again after looking can succeed.
      if (!this.stopConfirmed) this.watchStop();
      done({ granted: false, reasons: cleared.reasons });
      return;
    }
    this.ports.commands.request({ name: 'clear-trip' }, (result) => {
      // A board that is safe already has no trip to clear; that is as good.
      const clear = result.ok || (result.why === 'refused' && result.ack.state === M.STATE_SAFE);
      if (clear) this.judge.latch = cleared.latch;
      done(clear ? { granted: true, reasons: [] } : { granted: false, reasons: ['The board did not clear its trip. Release the stop input, check the link.'] });
    });
  }

  // ---- is it still? -----------------------------------------------------------------------------------------------

  /** The board is armed: from now on the motor is not known to stand still. */
  mayTurn(): void {
    this.stopConfirmed = false;
  }

  /** From now on standstill is looked for, until it is measured or the time is over. */
  watchStop(): void {
    if (this.stopWatch.active) return;
    this.stopBegan_us = this.host_us;
    this.stopWatch.begin(this.judge.row.tick_us);
  }

  /** After each row. */
  stepStop(): void {
    const result = this.stopWatch.step(this.judge.row);
    if (result !== null) this.stopped(result);
  }

  /** The host's time: where no rows come, only it can tell that the time is over. */
  hostTime(now_us: number): void {
    this.host_us = now_us;
    const waited_us = now_us - this.stopBegan_us;
    if (this.stopWatch.active && waited_us > this.plan.rig.limits.stop.within_s * 1e6 + STOP_GRACE_US) this.stopped(this.stopWatch.giveUp(this.judge.row, waited_us));
  }

  private stopped(result: StopResult): void {
    this.stopConfirmed = result.confirmed;
    this.ports.stopped();
    this.ports.tell({ type: 'stopped', tick_us: this.judge.row.tick_us, ...result });
  }

  private latch(trip: Trip): void {
    if (!latchBoardTrip(this.judge, trip)) return;
    this.ports.quit();
    this.watchStop();
    this.ports.tell({ type: 'tripped', tick_us: trip.tick_us, trip });
  }
}
