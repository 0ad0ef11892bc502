// The station: bytes and ticks in; judged blocks, events, abort frames and permits out. No timers, no clock of its own.
import { ClockFit } from '../link/clock-fit';
import { CommandChannel } from '../link/command-channel';
import type { LinkError } from '../link/errors';
import type { BoardMessage } from '../link/messages';
import { refusal, Session } from '../link/session';
import type { BenchEvent, LinkHealth } from '../model/events';
import { BOARD_STATES } from '../model/sample';
import type { ClosestApproach, Permit } from '../model/trip';
import { mayArm } from '../safety/arming';
import { closestApproaches } from '../safety/closest';
import { advance, beginRun, lateRow, type JudgeState } from '../safety/judge';
import type { ClearAct } from '../safety/latch';
import { permitNow } from '../safety/permit';
import type { NumberedSegment } from '../sequencer/ports';
import * as M from '../wire/messages';
import { Batcher } from './batch';
import { planOf, USUAL_PATIENCE, type Plan, type StationConfig } from './config';
import { SegmentFeeder } from './feeder';
import { Intake } from './intake';
import { Liveness } from './liveness';
import { Progress } from './progress';
import { rawSegment } from './raw-segment';
import { Supervision } from './supervision';
import { UntilWatch } from './until';

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
  private readonly feeder: SegmentFeeder;
  private readonly progress: Progress;
  private readonly until: UntilWatch;
  private readonly live: Liveness;
  private armed = false;
  /** Who waits for the answer to arming. */
  private arming: ((permit: Permit) => void) | null = null;
  /** A start that waits for the board to have its segments. */
  private wanted: { readonly bound_s: number } | null = null;
  private rate: 'slow' | 'fast' = 'slow';
  private sent_us = { device: -Infinity, host: -Infinity };
  private health_us = 0;
  private healthSum = 0;

  /** Throws a RangeError when the limits do not fit a board. */
  constructor(private readonly config: StationConfig) {
    this.plan = planOf(config);
    const tell = (event: BenchEvent) => this.tell(event);
    this.commands = new CommandChannel(config.send, config.patience ?? USUAL_PATIENCE);
    this.session = new Session(this.commands, this.plan.session);
    this.supervision = new Supervision(this.plan, config.facts, {
      commands: this.commands, tell, quit: () => this.quit(), stopped: () => this.standsStill(), timeOf: (tick) => this.intake.timeOf(tick),
    });
    this.judge = this.supervision.judge;
    this.intake = new Intake(config.facts.length, this.plan.rig.tick_us, {
      row: (tick_us) => this.row(tick_us),
      late: (tick_us) => this.supervision.trips(lateRow(this.judge, tick_us)),
      message: (message) => this.message(message),
    });
    this.batch = new Batcher(this.intake.rows, config.onBlock);
    this.until = new UntilWatch(config.facts);
    this.live = new Liveness(this.plan.rig.limits.host_silence_s * 1e6);
    this.progress = new Progress(tell, ({ ordinal, segment }) => this.until.begin(ordinal, segment.kind === 'wait-until' ? segment.until : null));
    const context = { facts: config.facts, guards: this.plan.guards, supply_V: this.plan.supply_V };
    this.feeder = new SegmentFeeder({
      request: (raw, done) => this.commands.request({ name: 'segment', ...raw }, done),
      convert: (s) => rawSegment(s.ordinal, s.segment, s.last, context),
      fault: (detail) => this.supervision.trouble('HOST_FAULT', detail),
      taken: () => this.push(),
    });
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
    const silences = this.live.time(now_us, this.armed, this.session.phase === 'ready');
    for (const { code, detail } of silences) this.supervision.outside(code, detail);
    this.commands.time('host', now_us);
    if (now_us - this.sent_us.host >= REPEAT_US) this.repeat();
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
    // The handshake sets slow rows; a board that is met tripped has none set.
    this.rate = 'slow';
    this.session.open((error) => {
      if (error?.code === 'TRIPPED_BEFORE') {
        this.supervision.trippedBefore(error);
        this.setRate('fast');
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
    this.progress.begin();
    this.feeder.clear();
    this.judge.rules.bounds.clear();
    this.arming = done;
    this.setRate('fast');
    this.commands.request({ name: 'arm', checksum: facts.checksum }, (result) => {
      if (!result.ok) {
        this.notArmed(result.why === 'refused' ? `The board refused to be armed: ${refusal(result.ack)}.` : 'The board did not answer to arming.');
        this.setRate('slow');
        return;
      }
      this.arming = null;
      this.armed = true;
      this.supervision.mayTurn();
      this.repeat();
      done(permit);
      this.push();
    });
  }

  /** Adds segments to the queue that the station feeds to the board. Throws a RangeError when the rig cannot play one. */
  feed(segments: readonly NumberedSegment[]): void {
    this.progress.know(segments);
    for (const { ordinal, segment } of segments) this.judge.rules.bounds.set(ordinal, segment.duration_s * 1e6);
    this.feeder.add(segments);
    this.push();
  }

  /** Starts playing as soon as the board has the segments fed so far. `bound_s`: longest that the whole protocol may take. */
  start(bound_s: number): void {
    this.wanted = { bound_s };
    this.push();
  }

  /** Ends the segment being played and goes on with the next. Nothing happens when another one plays by then. */
  endSegment(ordinal: number): void {
    if (!this.progress.active || ordinal !== this.progress.playing) return;
    this.progress.ask(ordinal);
    this.commands.request({ name: 'end-segment', ordinal }, () => undefined);
  }

  /** Finishes the segment being played, drops every later one. */
  finishSegment(): void {
    if (!this.progress.active) return;
    this.progress.finishing = true;
    this.feeder.drop();
    this.clearAfter();
  }

  /** Zero throttle now. Never waits, never fails, may be repeated. A `stopped` event follows when measurement says so. */
  stopNow(): void {
    this.progress.stopping = true;
    this.quit();
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
    if (!this.armed) this.setRate(on ? 'fast' : 'slow');
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

  health(): LinkHealth {
    return { frames: this.intake.frames, bad_frames: this.intake.bad, missing_frames: this.intake.missing, resent_commands: this.commands.resent };
  }

  // ---- rows and messages ------------------------------------------------------------------------------------------

  /** The row just appended: judged before anything else is done with it. */
  private row(tick_us: number): void {
    const { rows } = this.intake;
    const at = rows.rows - 1;
    const trips = advance(this.judge, rows, at);
    const throttle = rows.throttle[at] / 10_000;
    const state = rows.state[at];
    // Read now: telling a trip hands the rows on.
    if (trips !== null) this.supervision.trips(trips);
    this.live.row(tick_us);
    this.commands.time('device', tick_us);
    if (this.judge.desync !== null) this.config.onEvent({ type: 'desync', ...this.judge.desync });
    this.progress.row(tick_us, this.judge.row.ordinal, throttle, state);
    if (state !== this.supervision.state) this.changeState(tick_us, state);
    this.supervise(tick_us);
    this.batch.offer(tick_us);
  }

  /** What is due after each row. */
  private supervise(tick_us: number): void {
    const end = this.until.step(this.judge.row);
    if (end > 0) this.endSegment(end);
    if (this.armed) {
      for (const { code, detail } of this.live.beats(true)) this.supervision.outside(code, detail);
      this.feeder.pump(this.progress.playing);
    }
    if (tick_us - this.sent_us.device >= REPEAT_US) this.repeat();
    this.supervision.stepStop();
    if (tick_us - this.health_us >= HEALTH_US) this.tellHealth(tick_us);
  }

  private changeState(tick_us: number, state: number): void {
    const armed = state === M.STATE_READY || state === M.STATE_DRIVING;
    if (!armed && this.armed) {
      this.quit();
      this.supervision.watchStop();
    }
    this.armed = armed;
    this.supervision.changeState(tick_us, state, this.intake.rows.cause, this.progress.playing);
  }

  private message(message: BoardMessage): void {
    if (this.commands.message(message)) return;
    switch (message.type) {
      case 'segment-started':
        this.progress.started(message.ordinal, this.intake.timeOf(message.tick_us), message.throttle / 10_000, message.why);
        this.feeder.pump(this.progress.playing);
        return;
      case 'ended':
        this.progress.ended(this.intake.timeOf(message.tick_us), message.how);
        this.quit();
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
    if (!this.armed && this.session.phase !== 'opening') this.setRate('slow');
    this.tellHealth(this.judge.row.tick_us);
  }

  private notArmed(reason: string): void {
    const done = this.arming;
    this.arming = null;
    done?.({ granted: false, reasons: [reason] });
  }

  /** Nothing more is fed, started or waited for. */
  private quit(): void {
    this.notArmed(this.judge.latch.first?.detail ?? 'Stopped while arming.');
    if (this.session.phase === 'ready') this.commands.abandon();
    this.feeder.clear();
    this.until.begin(0, null);
    this.wanted = null;
  }

  // ---- permits, feeding, rates ------------------------------------------------------------------------------------

  /** Every 25 ms: the trip or stop that rows do not show yet, else the permit while there is one. */
  private repeat(): void {
    this.sent_us = { device: this.judge.row.tick_us, host: this.live.now_us };
    if (this.supervision.abort()) return;
    if (this.armed && this.progress.stopping) this.commands.urgent({ name: 'stop' });
    else if (this.armed && this.permit().granted) this.commands.urgent({ name: 'permit', span: this.plan.guards.deadman_us });
  }

  /** Feeds the board, and starts it once it has what was fed so far (or all that it can hold). */
  private push(): void {
    if (!this.armed) return;
    this.feeder.pump(this.progress.playing);
    const { wanted, feeder } = this;
    if (wanted === null || feeder.taken === 0 || (!feeder.idle && feeder.taken < M.SEGMENT_QUEUE)) return;
    this.wanted = null;
    beginRun(this.judge, wanted.bound_s);
    this.repeat();
    this.commands.request({ name: 'start' }, (result) => {
      if (result.ok) return;
      this.supervision.trouble('HOST_FAULT', result.why === 'refused' ? `The board refused to start: ${refusal(result.ack)}.` : 'The board did not answer to the start.');
    });
  }

  private clearAfter(): void {
    const { playing } = this.progress;
    this.commands.request({ name: 'clear-after', ordinal: playing }, (result) => {
      // The board had moved on by the time it heard: the segment that plays now is the one to finish.
      if (!result.ok && this.progress.active && this.progress.playing !== playing) this.clearAfter();
    });
  }

  private setRate(rate: 'slow' | 'fast'): void {
    if (rate === this.rate) return;
    this.rate = rate;
    this.commands.request({ name: 'set-telemetry', divider: this.plan[rate] }, (result) => {
      if (!result.ok) this.rate = rate === 'fast' ? 'slow' : 'fast';
    });
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
    const sum = health.bad_frames + health.missing_frames + health.resent_commands;
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
