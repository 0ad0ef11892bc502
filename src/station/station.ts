// The station: bytes and ticks in; judged blocks, events, abort frames and permits out. No timers, no clock of its own.
import { ClockFit } from '../link/clock-fit';
import { FrameDecoder } from '../link/codec';
import { CommandChannel } from '../link/command-channel';
import type { LinkError } from '../link/errors';
import { SequenceGaps } from '../link/gaps';
import { decodeMessage, type BoardMessage } from '../link/messages';
import { RowBuffer, rowTick, sequenceOf } from '../link/rows';
import { refusal, Session } from '../link/session';
import { TickUnwrapper } from '../link/ticks';
import type { BenchEvent, LinkHealth } from '../model/events';
import { BOARD_STATES } from '../model/sample';
import type { ClosestApproach, Permit, Trip, TripCode } from '../model/trip';
import { mayArm } from '../safety/arming';
import { closestApproaches } from '../safety/closest';
import { advance, beginRun, condition, latchBoardTrip, lateRow, startJudge, type JudgeState } from '../safety/judge';
import { clearLatch, type ClearAct } from '../safety/latch';
import { permitNow } from '../safety/permit';
import { StopWatch, type StopResult } from '../safety/stop';
import type { NumberedSegment } from '../sequencer/ports';
import * as M from '../wire/messages';
import { Batcher } from './batch';
import { tripOf, type BoardTrip } from './board-trip';
import { planOf, USUAL_PATIENCE, type Plan, type StationConfig } from './config';
import { SegmentFeeder } from './feeder';
import { Liveness } from './liveness';
import { Progress } from './progress';
import { rawSegment } from './raw-segment';
import { UntilWatch } from './until';
import { CODE_ON_WIRE } from './wire-tables';

/** Permits go out this often, and a stop or trip that does not show yet is sent again this often. */
const REPEAT_US = 25_000;
const HEALTH_US = 1_000_000;
/** Without rows a stop is given up this long after its time, on the host's clock. */
const STOP_GRACE_US = 1_000_000;

export class Station {
  /** Device time against host time. */
  readonly clock = new ClockFit();
  private readonly plan: Plan;
  private readonly judge: JudgeState;
  private readonly rows: RowBuffer;
  private readonly batch: Batcher;
  private readonly decoder: FrameDecoder;
  private readonly gaps = new SequenceGaps();
  private readonly ticks = new TickUnwrapper();
  private readonly commands: CommandChannel;
  private readonly session: Session;
  private readonly feeder: SegmentFeeder;
  private readonly progress: Progress;
  private readonly until: UntilWatch;
  private readonly stopWatch: StopWatch;
  private readonly live: Liveness;
  private state = M.STATE_SAFE;
  private armed = false;
  /** Who waits for the answer to arming. */
  private arming: ((permit: Permit) => void) | null = null;
  private wanted: { readonly bound_s: number } | null = null;
  private stopConfirmed = true;
  private stopBegan_us = 0;
  private stopPressed = false;
  private rate: 'slow' | 'fast' = 'slow';
  private offset_us = 0;
  private resync = false;
  private sent_us = { device: -Infinity, host: -Infinity };
  private health_us = 0;
  private healthSum = 0;
  private malformed = 0;

  /** Throws a RangeError when the limits do not fit a board. */
  constructor(private readonly config: StationConfig) {
    this.plan = planOf(config);
    this.judge = startJudge(this.plan.judge);
    this.rows = new RowBuffer(config.facts.length);
    this.batch = new Batcher(this.rows, config.onBlock);
    this.decoder = new FrameDecoder((bytes, length) => this.frame(bytes, length));
    this.commands = new CommandChannel(config.send, config.patience ?? USUAL_PATIENCE);
    this.session = new Session(this.commands, this.plan.session);
    this.until = new UntilWatch(config.facts);
    this.live = new Liveness(this.plan.rig.limits.host_silence_s * 1e6);
    const { channels } = this.judge.rules;
    this.stopWatch = new StopWatch({
      current: channels.find((c) => c.kind === 'current') ?? channels[0],
      speed: channels.find((c) => c.kind === 'speed') ?? null,
      limit: this.plan.rig.limits.stop,
    });
    this.progress = new Progress((event) => this.tell(event), ({ ordinal, segment }) => this.until.begin(ordinal, segment.kind === 'wait-until' ? segment.until : null));
    const context = { facts: config.facts, guards: this.plan.guards, supply_V: this.plan.supply_V };
    this.feeder = new SegmentFeeder({
      request: (raw, done) => this.commands.request({ name: 'segment', ...raw }, done),
      convert: (s) => rawSegment(s.ordinal, s.segment, s.last, context),
      fault: (detail) => this.trouble('HOST_FAULT', detail),
      taken: () => this.push(),
    });
  }

  // ---- in: bytes and time -----------------------------------------------------------------------------------------

  /** Bytes from the board, in pieces of any size. Everything that follows from them happens before this returns. */
  receive(bytes: Uint8Array): void {
    if (bytes.length > 0) this.live.heard();
    this.decoder.push(bytes);
    const device_us = this.judge.row.tick_us;
    if (this.live.now_us >= 0 && device_us >= 0) this.clock.add(device_us, this.live.now_us);
  }

  /** The host's time, µs, rising: for silence, stalls, and commands without an answer. */
  hostTime(now_us: number): void {
    const silences = this.live.time(now_us, this.armed, this.session.phase === 'ready');
    for (const { code, detail } of silences) this.outside(code, detail);
    this.commands.time('host', now_us);
    if (now_us - this.sent_us.host >= REPEAT_US) this.repeat();
    if (this.stopWatch.active && now_us - this.stopBegan_us > this.plan.rig.limits.stop.within_s * 1e6 + STOP_GRACE_US)
      this.stopped(this.stopWatch.giveUp(this.judge.row, now_us - this.stopBegan_us));
  }

  /** The main process is alive. */
  beat(): void {
    this.live.beat();
  }

  /** The record cannot be written (a text for people), or can be again (null). */
  cannotRecord(detail: string | null): void {
    this.outside('CANNOT_RECORD', detail);
  }

  /** The supply says that it limits its current (a text for people), or no longer does (null). */
  supplyLimiting(detail: string | null): void {
    this.outside('SUPPLY_LIMITING', detail);
  }

  /** A stop input of the host is pressed or released. */
  stopInput(pressed: boolean): void {
    this.stopPressed = pressed;
    this.outside('STOP_INPUT', pressed ? 'The stop input is pressed.' : null);
  }

  // ---- verbs ------------------------------------------------------------------------------------------------------

  /** Greets the board and gives it our limits. `done` receives null when it can be armed, else what is wrong. */
  connect(done: (error: LinkError | null) => void): void {
    this.resync = true;
    this.live.heard();
    this.session.open((error) => {
      if (error?.code === 'TRIPPED_BEFORE') this.trippedBefore(error);
      done(error);
    });
  }

  /** Arms the board. `done` receives the permit: not granted, with every reason, when anything blocks it. */
  arm(done: (permit: Permit) => void): void {
    const permit = mayArm({
      judge: this.judge, beatAge_us: this.live.beatAge_us(), link: this.linkText(), armWhen: this.plan.rig.arm_when,
      board: this.state === M.STATE_SAFE ? null : `The board is ${BOARD_STATES[this.state]}.`,
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
      this.stopConfirmed = false;
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
    this.watchStop();
  }

  /**
   * Clears a latched trip: a deliberate act, refused with reasons while the motor is not known to stand still. Arms nothing.
   * Not part of what the sequencer sees.
   */
  clearTrip(act: ClearAct, done: (permit: Permit) => void): void {
    const cleared = clearLatch(this.judge.latch, act, { stopConfirmed: this.stopConfirmed, stopInput: this.stopPressed });
    if (!cleared.ok) {
      done({ granted: false, reasons: cleared.reasons });
      return;
    }
    this.commands.request({ name: 'clear-trip' }, (result) => {
      // A board that is safe already has no trip to clear; that is as good.
      const clear = result.ok || (result.why === 'refused' && result.ack.state === M.STATE_SAFE);
      if (clear) this.judge.latch = cleared.latch;
      done(clear ? { granted: true, reasons: [] } : { granted: false, reasons: ['The board did not clear its trip. Release the stop input, check the link.'] });
    });
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
    return { frames: this.decoder.frames, bad_frames: this.decoder.bad + this.malformed, missing_frames: this.gaps.missing, resent_commands: this.commands.resent };
  }

  // ---- frames -----------------------------------------------------------------------------------------------------

  private frame(bytes: Uint8Array, length: number): void {
    if (length < 3) {
      this.malformed++;
      return;
    }
    const arrival = this.gaps.note(sequenceOf(bytes));
    if (arrival === 'duplicate') return;
    if (bytes[0] === M.MSG_ROW) {
      this.row(bytes, length);
      return;
    }
    const message = decodeMessage(bytes, length);
    if (message === null) this.malformed++;
    else this.message(message);
  }

  private row(bytes: Uint8Array, length: number): void {
    const raw = rowTick(bytes);
    if (this.resync) this.followRestart(raw);
    const tick = this.ticks.advance(raw);
    if (tick < 0) {
      this.trips(lateRow(this.judge, this.ticks.peek(raw) + this.offset_us));
      return;
    }
    const tick_us = tick + this.offset_us;
    if (!this.rows.append(bytes, length, tick_us)) {
      this.malformed++;
      return;
    }
    const at = this.rows.rows - 1;
    const trips = advance(this.judge, this.rows, at);
    if (trips !== null) this.trips(trips);
    this.live.row(tick_us);
    this.commands.time('device', tick_us);
    this.follow(tick_us, this.judge.row.ordinal, this.rows.throttle[at] / 10_000, this.rows.state[at]);
    this.batch.offer(tick_us);
  }

  /** What a judged row means for the run. */
  private follow(tick_us: number, ordinal: number, throttle: number, state: number): void {
    const { judge } = this;
    if (judge.desync !== null) this.config.onEvent({ type: 'desync', ...judge.desync });
    this.progress.row(tick_us, ordinal, throttle, state);
    if (state !== this.state) this.changeState(tick_us, state);
    const end = this.until.step(judge.row);
    if (end > 0) this.endSegment(end);
    if (this.armed) {
      for (const { code, detail } of this.live.beats(true)) this.outside(code, detail);
      this.feeder.pump(this.progress.playing);
    }
    if (tick_us - this.sent_us.device >= REPEAT_US) this.repeat();
    const result = this.stopWatch.step(judge.row);
    if (result !== null) this.stopped(result);
    if (tick_us - this.health_us >= HEALTH_US) this.tellHealth(tick_us);
  }

  private changeState(tick_us: number, state: number): void {
    this.state = state;
    const armed = state === M.STATE_READY || state === M.STATE_DRIVING;
    if (!armed && this.armed) {
      this.quit();
      this.watchStop();
    }
    this.armed = armed;
    this.config.onEvent({ type: 'state', tick_us, state: BOARD_STATES[state] ?? 'tripped' });
    if (state === M.STATE_TRIPPED && this.judge.latch.first === null) this.askWhy(tick_us);
  }

  private message(message: BoardMessage): void {
    if (this.commands.message(message)) return;
    switch (message.type) {
      case 'segment-started':
        this.progress.started(message.ordinal, this.timeOf(message.tick_us), message.throttle / 10_000, message.why);
        this.feeder.pump(this.progress.playing);
        return;
      case 'ended':
        this.progress.ended(this.timeOf(message.tick_us), message.how);
        this.quit();
        this.watchStop();
        return;
      case 'tripped':
        this.boardTripped(message, this.timeOf(message.tick_us));
        return;
      case 'ack':
      case 'status':
      case 'identity':
      case 'channel':
      case 'row':
        return; // answers to urgent commands, and answers that came twice
    }
  }

  // ---- trips and stops --------------------------------------------------------------------------------------------

  /** Trips that the judge latched: the abort goes out before anybody is told. */
  private trips(trips: readonly Trip[] | null): void {
    if (trips === null) return;
    this.repeat();
    this.quit();
    this.watchStop();
    for (const trip of trips) this.tell({ type: 'tripped', tick_us: trip.tick_us, trip });
  }

  /** The board tripped: by itself, or as an echo of our own abort. */
  private boardTripped(board: BoardTrip, tick_us: number): void {
    const { first } = this.judge.latch;
    if (board.slot === 255 && first !== null && CODE_ON_WIRE[first.code] === board.cause) return;
    const trip = tripOf(board, tick_us, this.plan.limits, this.config.facts);
    if (!latchBoardTrip(this.judge, trip)) return;
    this.quit();
    this.watchStop();
    this.tell({ type: 'tripped', tick_us, trip });
  }

  /** Rows show a trip whose frame was lost: ask for it. */
  private askWhy(tick_us: number): void {
    this.commands.request({ name: 'status' }, (result) => {
      const told = result.ok && result.reply.type === 'status' ? result.reply : null;
      const board: BoardTrip = told ?? { cause: this.rows.cause, slot: 255, value: 0, limit: 0, ordinal: this.progress.playing };
      this.boardTripped(board, told === null ? tick_us : this.timeOf(told.tick_us));
    });
  }

  private trippedBefore(error: LinkError): void {
    const trip: Trip = {
      code: 'HOST_FAULT', by: 'controller', tick_us: this.judge.row.tick_us, value: null, limit: null, unit: '', channel: null, ordinal: 0, detail: error.message,
    };
    latchBoardTrip(this.judge, trip);
    this.state = M.STATE_TRIPPED;
    this.stopConfirmed = false;
    this.setRate('fast');
    this.watchStop();
    this.tell({ type: 'tripped', tick_us: trip.tick_us, trip });
  }

  /** A condition from elsewhere begins or ends. */
  private outside(code: TripCode, detail: string | null): void {
    const trip = condition(this.judge, code, detail);
    if (trip !== null) this.trips([trip]);
  }

  /** A fault of a moment: trips when armed, and does not stay as a condition. */
  private trouble(code: TripCode, detail: string): void {
    this.outside(code, detail);
    condition(this.judge, code, null);
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

  private watchStop(): void {
    if (this.stopWatch.active) return;
    this.stopBegan_us = this.live.now_us;
    this.stopWatch.begin(this.judge.row.tick_us);
  }

  private stopped(result: StopResult): void {
    this.stopConfirmed = result.confirmed;
    if (!this.armed && this.session.phase === 'ready') this.setRate('slow');
    const tick_us = this.judge.row.tick_us;
    this.tellHealth(tick_us);
    this.tell({ type: 'stopped', tick_us, ...result });
  }

  // ---- permits, feeding, rates ------------------------------------------------------------------------------------

  /** Every 25 ms: the trip or stop that rows do not show yet, else the permit while there is one. */
  private repeat(): void {
    this.sent_us = { device: this.judge.row.tick_us, host: this.live.now_us };
    const { first } = this.judge.latch;
    if (first !== null) {
      if (this.state !== M.STATE_TRIPPED) this.commands.urgent({ name: 'trip', cause: CODE_ON_WIRE[first.code] });
    } else if (this.armed && this.progress.stopping) this.commands.urgent({ name: 'stop' });
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
      this.trouble('HOST_FAULT', result.why === 'refused' ? `The board refused to start: ${refusal(result.ack)}.` : 'The board did not answer to the start.');
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

  /** Unwrapped device time of a tick in an event, which may lie a little before or after the latest row. */
  private timeOf(tick: number): number {
    return this.ticks.peek(tick) + this.offset_us;
  }

  /** First row after connecting: a board that restarted counts from zero again; our time goes on rising. */
  private followRestart(raw: number): void {
    this.resync = false;
    if (this.ticks.latest_us < 0 || this.ticks.peek(raw) > this.ticks.latest_us) return;
    const latest_us = this.ticks.latest_us + this.offset_us;
    this.ticks.restart();
    this.gaps.restart();
    this.offset_us = latest_us + this.plan.rig.tick_us - raw;
  }
}
