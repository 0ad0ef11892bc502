// The station: bytes and ticks in; judged blocks, events, abort frames and permits out. No timers, no clock of its own.
import { ClockFit } from '../link/clock-fit';
import { CommandChannel } from '../link/command-channel';
import type { LinkError } from '../link/errors';
import type { BoardMessage, Identity } from '../link/messages';
import { Session } from '../link/session';
import type { BenchEvent, LinkHealth } from '../model/events';
import { BOARD_STATES } from '../model/sample';
import type { ClosestApproach, Permit, TripCode } from '../model/trip';
import { mayArm } from '../safety/arming';
import { closestApproaches } from '../safety/closest';
import { advance, lateRow, type JudgeState } from '../safety/judge';
import type { ClearAct } from '../safety/latch';
import { permitNow } from '../safety/permit';
import type { NumberedSegment } from '../sequencer/ports';
import * as M from '../wire/messages';
import { Batcher } from './batch';
import { planOf, USUAL_PATIENCE, type Plan, type StationConfig } from './config';
import { Intake } from './intake';
import { Liveness } from './liveness';
import { RunControl } from './run-control';
import { Supervision } from './supervision';

/** Permits go out this often, and a stop or trip that does not show yet is sent again this often. */
const REPEAT_US = 25_000;
const HEALTH_US = 1_000_000;

export class Station {
  /** Device time against host time. */
  readonly clock = new ClockFit();
  private readonly plan: Plan;
  private readonly judge: JudgeState;
  private readonly intake: Intake;
  private readonly batch: Batcher;
  private readonly commands: CommandChannel;
  private readonly session: Session;
  private readonly supervision: Supervision;
  private readonly run: RunControl;
  private readonly live: Liveness;
  private sentDevice_us = -Infinity;
  private sentHost_us = -Infinity;
  private health_us = 0;
  private healthSum = 0;

  /** Throws a RangeError when the limits do not fit a board. */
  constructor(private readonly config: StationConfig) {
    this.plan = planOf(config);
    const tell = (event: BenchEvent) => this.tell(event);
    this.commands = new CommandChannel(config.send, config.patience ?? USUAL_PATIENCE);
    this.session = new Session(this.commands, this.plan.session);
    this.supervision = new Supervision(this.plan, config.facts, {
      commands: this.commands, tell, quit: () => this.run.quit(), aborted: () => config.onAbort?.(), stopped: () => this.standsStill(), timeOf: (tick) => this.intake.timeOf(tick),
    });
    this.judge = this.supervision.judge;
    this.intake = new Intake(config.facts.length, this.plan.rig.tick_us, {
      row: (tick_us) => this.row(tick_us),
      late: (tick_us) => this.supervision.trips(lateRow(this.judge, tick_us)),
      message: (message) => this.message(message),
    });
    this.batch = new Batcher(this.intake.rows, config.onBlock);
    const { host_silence_s } = this.plan.rig.limits;
    this.live = new Liveness(host_silence_s * 1e6, (config.linkSilence_s ?? host_silence_s) * 1e6);
    this.run = new RunControl(this.plan, config.facts, { commands: this.commands, session: this.session, supervision: this.supervision, tell, renew: () => this.repeat() });
  }

  // ---- in: bytes and time -----------------------------------------------------------------------------------------

  /** Bytes from the board, in pieces of any size. Everything that follows from them happens before this returns. */
  receive(bytes: Uint8Array): void {
    if (bytes.length > 0) this.live.heard();
    this.intake.push(bytes);
    const device_us = this.judge.row.tick_us;
    if (this.live.now_us >= 0 && device_us >= 0) this.clock.add(device_us, this.live.now_us);
  }

  /** The host's time, µs, rising: for silence, stalls, and commands without an answer. */
  hostTime(now_us: number): void {
    const silences = this.live.time(now_us, this.run.armed, this.session.phase === 'ready');
    for (const { code, detail } of silences) this.supervision.outside(code, detail);
    this.commands.time('host', now_us);
    if (now_us - this.sentHost_us >= REPEAT_US) this.repeat();
    this.supervision.hostTime(now_us);
  }

  /** The main process is alive. */
  beat(): void {
    this.live.beat();
  }

  /** The record cannot be written (a text for people), or can be again (null). */
  cannotRecord(detail: string | null): void {
    this.supervision.outside('CANNOT_RECORD', detail);
  }

  /** The supply says that it limits its current (a text for people), or no longer does (null). */
  supplyLimiting(detail: string | null): void {
    this.supervision.outside('SUPPLY_LIMITING', detail);
  }

  /** A stop input of the host is pressed or released. */
  stopInput(pressed: boolean): void {
    this.supervision.outside('STOP_INPUT', pressed ? 'The stop input is pressed.' : null);
  }

  // ---- verbs ------------------------------------------------------------------------------------------------------

  /** Greets the board and gives it our limits. `done` receives null when it can be armed, else what is wrong. */
  connect(done: (error: LinkError | null) => void): void {
    this.intake.expectRestart();
    this.live.heard();
    this.run.rateIsSlow();
    this.session.open((error) => {
      if (error?.code === 'TRIPPED_BEFORE') {
        this.supervision.trippedBefore(error);
        this.run.setRate('fast');
      }
      done(error);
    });
  }

  /** Arms the board. `done` receives the permit: not granted, with every reason, when anything blocks it. */
  arm(done: (permit: Permit) => void): void {
    const permit = mayArm({
      judge: this.judge, beatAge_us: this.live.beatAge_us(), link: this.linkText(), armWhen: this.plan.rig.arm_when,
      board: this.supervision.state === M.STATE_SAFE ? null : `The board is ${BOARD_STATES[this.supervision.state]}.`,
    });
    const facts = this.session.facts;
    if (!permit.granted || facts === null) {
      done(permit);
      return;
    }
    this.run.arm(permit, facts.checksum, done);
  }

  /** Adds segments to the queue that the station feeds to the board. Throws a RangeError when the rig cannot play one. */
  feed(segments: readonly NumberedSegment[]): void {
    this.run.feed(segments);
  }

  /** Starts playing as soon as the board has the segments fed so far. `bound_s`: longest that the whole protocol may take. */
  start(bound_s: number): void {
    this.run.start(bound_s);
  }

  /** Ends the segment being played and goes on with the next. Nothing happens when another one plays by then. */
  endSegment(ordinal: number): void {
    this.run.endSegment(ordinal);
  }

  /** Finishes the segment being played, drops every later one. */
  finishSegment(): void {
    this.run.finishSegment();
  }

  /** Zero throttle now. Never waits, never fails, may be repeated. A `stopped` event follows when measurement says so. */
  stopNow(): void {
    this.run.progress.stopping = true;
    this.run.quit();
    this.commands.urgent({ name: 'stop' });
    this.supervision.watchStop();
  }

  /**
   * Clears a latched trip: a deliberate act, refused with reasons while the motor is not known to stand still. Arms nothing.
   * Not part of what the sequencer sees.
   */
  clearTrip(act: ClearAct, done: (permit: Permit) => void): void {
    this.supervision.clear(act, done);
  }

  /** Full rows also while nothing runs (to take zeros), or back to slow ones. */
  fullRows(on: boolean): void {
    if (!this.run.armed) this.run.setRate(on ? 'fast' : 'slow');
  }

  /** Hands on what is gathered: the last thing before the station is let go. */
  flush(): void {
    this.batch.flush(this.judge.row.tick_us);
  }

  // ---- out --------------------------------------------------------------------------------------------------------

  /** Leave to drive as of now; judged also while nothing runs. */
  permit(): Permit {
    return permitNow({ judge: this.judge, beatAge_us: this.live.beatAge_us(), link: this.linkText() });
  }

  /** The closest approach to each limit since the last run began, nearest first. */
  closest(): readonly ClosestApproach[] {
    return closestApproaches(this.judge);
  }

  /** Device time of the latest row, µs; -1 before the first. */
  now_us(): number {
    return this.judge.row.tick_us;
  }

  /** Latest possible value of a channel in SI, NaN before the first: for the live line. */
  latest(channel: number): number {
    return this.judge.row.at_us[channel] < 0 ? NaN : this.judge.row.si[channel];
  }

  /** Who answered the handshake; null before it is complete. */
  get identity(): Identity | null {
    return this.session.facts?.identity ?? null;
  }

  health(): LinkHealth {
    return { frames: this.intake.frames, bad_frames: this.intake.bad, missing_frames: this.intake.missing, doubled_frames: this.intake.doubled, resent_commands: this.commands.resent };
  }

  // ---- rows and messages ------------------------------------------------------------------------------------------

  private readonly abortFor = (cause: TripCode): void => { this.supervision.abortFor(cause); };

  /** The row just appended: judged before anything else is done with it. */
  private row(tick_us: number): void {
    const { rows } = this.intake;
    const at = rows.rows - 1;
    const trips = advance(this.judge, rows, at, this.abortFor);
    const throttle = rows.throttle[at] / 10_000;
    const state = rows.state[at];
    // Read now: telling a trip hands the rows on.
    if (trips !== null) this.supervision.trips(trips);
    this.live.row(tick_us);
    this.commands.time('device', tick_us);
    if (this.judge.desync !== null) this.config.onEvent({ type: 'desync', ...this.judge.desync });
    this.run.progress.row(tick_us, this.judge.row.ordinal, throttle, state);
    if (state !== this.supervision.state) this.changeState(tick_us, state);
    this.supervise(tick_us);
    this.batch.offer(tick_us);
  }

  /** What is due after each row. */
  private supervise(tick_us: number): void {
    this.run.stepUntil();
    if (this.run.armed) {
      const silences = this.live.beats(true);
      if (silences.length > 0) for (const { code, detail } of silences) this.supervision.outside(code, detail);
      this.run.pump();
    }
    if (tick_us - this.sentDevice_us >= REPEAT_US) this.repeat();
    this.supervision.stepStop();
    if (tick_us - this.health_us >= HEALTH_US) this.tellHealth(tick_us);
  }

  private changeState(tick_us: number, state: number): void {
    const armed = state === M.STATE_READY || state === M.STATE_DRIVING;
    if (!armed && this.run.armed) {
      this.run.quit();
      this.supervision.watchStop();
    }
    this.run.armed = armed;
    this.supervision.changeState(tick_us, state, this.intake.rows.cause, this.run.progress.playing);
  }

  private message(message: BoardMessage): void {
    if (this.commands.message(message)) return;
    switch (message.type) {
      case 'segment-started':
        this.run.progress.started(message.ordinal, this.intake.timeOf(message.tick_us), message.throttle / 10_000, message.why);
        this.run.pump();
        return;
      case 'ended':
        this.run.progress.ended(this.intake.timeOf(message.tick_us), message.how);
        this.run.quit();
        this.supervision.watchStop();
        return;
      case 'tripped':
        this.supervision.boardTripped(message, this.intake.timeOf(message.tick_us));
        return;
      case 'ack':
      case 'status':
      case 'identity':
      case 'channel':
      case 'row':
        return; // answers to urgent commands, and answers that came twice
    }
  }

  private standsStill(): void {
    if (!this.run.armed && this.session.phase !== 'opening') this.run.setRate('slow');
    this.tellHealth(this.judge.row.tick_us);
  }

  // ---- permits -----------------------------------------------------------------------------------------------------

  /** Every 25 ms: the trip or stop that rows do not show yet, else the permit while there is one. */
  private repeat(): void {
    this.sentDevice_us = this.judge.row.tick_us;
    this.sentHost_us = this.live.now_us;
    if (this.supervision.abort()) return;
    if (this.run.armed && this.run.progress.stopping) this.commands.urgent({ name: 'stop' });
    else if (this.run.armed && this.permit().granted) this.commands.urgent({ name: 'permit', span: this.plan.guards.deadman_us });
  }

  // ---- telling ----------------------------------------------------------------------------------------------------

  /** Rows from before an event go out before the event. */
  private tell(event: BenchEvent): void {
    this.flush();
    this.config.onEvent(event);
  }

  private tellHealth(tick_us: number): void {
    this.health_us = tick_us;
    const health = this.health();
    const sum = health.bad_frames + health.missing_frames + (health.doubled_frames ?? 0) + health.resent_commands;
    if (sum === this.healthSum) return;
    this.healthSum = sum;
    this.config.onEvent({ type: 'link', tick_us, health });
  }

  private linkText(): string | null {
    switch (this.session.phase) {
      case 'ready': return null;
      case 'failed': return this.session.error?.message ?? 'The board is not connected.';
      case 'opening': return 'The board is being greeted.';
      case 'closed': return 'The board is not connected.';
    }
  }
}
