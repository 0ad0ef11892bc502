// The guard: owns the board's port, runs the station, and answers to the main process. No timers and no process of its own:
// guard-child.ts gives it both, tests give it others.
import { LinkError } from '../../link/errors';
import type { BenchEvent } from '../../model/events';
import type { RigLink } from '../../model/files/rig';
import type { Permit } from '../../model/trip';
import { Station } from '../../station/station';
import type { BoardListener, BoardPort, OpenBoard } from '../board-port';
import { PortError } from '../port-error';
import { GREETING_US, resetText, silentBoardText } from './greeting';
import { rehearse } from './rehearsal';
import { STATE_EVERY_MS, type BoardNote, type FromGuard, type StationSetup, type ToGuard } from './messages';

export interface GuardIO {
  /** How a board of this link is opened. Throws a {@link PortError} for a link that no guard drives. */
  readonly openBoard: (link: RigLink, setup: StationSetup) => OpenBoard;
  readonly post: (message: FromGuard) => void;
  /** Clock shared with the main process, µs. */
  readonly now_us: () => number;
  /** Everything is let go of: the process may end. */
  readonly left: () => void;
  /** An abort has just been written: the processor is left to whoever carries it, for a moment. */
  readonly makeWay?: () => void;
}

/** Longer than the station itself looks for standstill (its own bound and a second), s. */
const LEAVE_GRACE_S = 2;

/** An open board with the station that drives it. Made anew for every connection. */
interface Connection {
  port: BoardPort | null;
  lost: string | null;
  bytes: number;
}

export class Guard {
  private connection: Connection | null = null;
  private station: Station | null = null;
  private setup: StationSetup | null = null;
  /** A connection under way is given up when another one begins. */
  private round = 0;
  /** The motor may turn: from the order to arm until it is measured (or given up) to stand still. */
  private turning = false;
  private linkLost = false;
  /** The proof test tries what happens when nobody speaks to the board. */
  private muted = false;
  private heard_us = 0;
  /** While bytes are taken in, what is to be told waits: see {@link bytes}. */
  private receiving = false;
  private readonly outbox: FromGuard[] = [];
  private rehearsed = false;
  private told_us = -Infinity;
  private leaving: { readonly why: string; readonly until_us: number } | null = null;
  private gone = false;

  constructor(private readonly io: GuardIO) {}

  /** A message of the main process. What cannot be done stops the motor and is told. */
  take(message: ToGuard): void {
    if (this.leaving !== null && message.type !== 'stop-now') return;
    try {
      this.obey(message);
    } catch (error) {
      this.station?.stopNow();
      this.post({ type: 'fault', detail: error instanceof Error ? error.message : String(error) });
    }
  }

  private obey(message: ToGuard): void {
    const { station } = this;
    switch (message.type) {
      case 'connect':
        void this.connect(message.id, message.link, message.setup);
        return;
      case 'beat':
        station?.beat();
        return;
      case 'arm':
        this.arm(message.id);
        return;
      case 'clear-trip':
        if (station === null) this.answer(message.id, NOT_CONNECTED);
        else station.clearTrip(message.act, (permit) => this.answer(message.id, permit));
        return;
      case 'feed':
        station?.feed(message.segments);
        return;
      case 'start':
        station?.start(message.bound_s);
        return;
      case 'end-segment':
        station?.endSegment(message.ordinal);
        return;
      case 'finish-segment':
        station?.finishSegment();
        return;
      case 'stop-now':
        station?.stopNow();
        return;
      case 'mute':
        this.muted = message.on;
        return;
      case 'full-rows':
        station?.fullRows(message.on);
        return;
      case 'supply-limiting':
        station?.supplyLimiting(message.detail);
        return;
      case 'leave':
        this.leave('The main process is done.');
        return;
    }
  }

  /** Time goes on: called every few milliseconds. */
  tick(): void {
    const now_us = this.io.now_us();
    this.handOn();
    this.station?.hostTime(now_us);
    if (now_us - this.told_us >= STATE_EVERY_MS * 1000) this.tellState();
    if (this.leaving !== null && now_us >= this.leaving.until_us) this.letGo();
  }

  /** Stops the motor, waits until it is measured to stand still, lets go of the port. However often it is called. */
  leave(why: string): void {
    if (this.leaving !== null) return;
    const within_s = this.setup?.rig.limits.stop.within_s ?? 0;
    const wait_s = this.turning ? within_s + LEAVE_GRACE_S : 0;
    this.leaving = { why, until_us: this.io.now_us() + wait_s * 1e6 };
    if (this.turning) this.station?.stopNow();
    else this.letGo();
  }

  // ---- connecting -------------------------------------------------------------------------------------------------

  private async connect(id: number, link: RigLink, setup: StationSetup): Promise<void> {
    const round = ++this.round;
    this.muted = false;
    const told = (code: string | null, problem: string | null, board: BoardNote | null): void => {
      if (round === this.round) this.post({ type: 'connected', id, code, problem, board });
    };
    if (this.turning) {
      told('TURNING', 'The board is not greeted while the motor may turn. Stop it first.', null);
      return;
    }
    try {
      if (!this.rehearsed) rehearse(setup);
      this.rehearsed = true;
      const connection = await this.openedBoard(link, setup);
      if (round !== this.round || this.gone) return;
      const station = this.newStation(setup, connection);
      this.greet(station, connection, (error, board) => told(error?.code ?? null, error?.message ?? null, board));
    } catch (error) {
      const { code, message } = error instanceof PortError ? error : { code: 'FAILED', message: `The board could not be opened: ${String(error)}` };
      told(code, message, null);
    }
  }

  /** The board as it is open, or opened anew: a lost port, or a link that was lost once, never serves again. */
  private async openedBoard(link: RigLink, setup: StationSetup): Promise<Connection> {
    const old = this.connection;
    if (old?.port !== undefined && old.port !== null && old.lost === null && !this.linkLost) return old;
    this.connection = null;
    this.station?.flush();
    this.station = null;
    await old?.port?.close();
    this.linkLost = false;
    const connection: Connection = { port: null, lost: null, bytes: 0 };
    this.connection = connection;
    const listener: BoardListener = {
      onBytes: (bytes) => { if (this.connection === connection) this.bytes(connection, bytes); },
      onLost: (reason) => { if (this.connection === connection) this.lost(connection, reason); },
    };
    connection.port = await this.io.openBoard(link, setup)(listener);
    if (this.gone) await connection.port.close();
    return connection;
  }

  private newStation(setup: StationSetup, connection: Connection): Station {
    this.station?.flush();
    this.setup = setup;
    const station = new Station({
      ...setup,
      // Its own connection, for good: nothing that this station sends can reach another one.
      send: (bytes) => { if (connection.lost === null && !this.muted) connection.port?.send(bytes); },
      onAbort: this.io.makeWay,
      onBlock: (block) => this.post({ type: 'block', block }),
      onEvent: (event) => this.event(event),
    });
    station.hostTime(this.io.now_us());
    station.beat();
    this.station = station;
    return station;
  }

  /** Greets the board, again and again while it starts up: opening the port has reset it, as like as not. */
  private greet(station: Station, connection: Connection, done: (error: { code: string; message: string } | null, board: BoardNote | null) => void): void {
    const until_us = this.io.now_us() + GREETING_US;
    const again = (): void => {
      station.connect((error) => {
        if (this.station !== station) return;
        if (error === null || error.code !== 'NO_ANSWER') {
          this.tellState();
          done(error, boardNote(station, connection));
        } else if (connection.lost !== null) done(new LinkError('NO_ANSWER', connection.lost), null);
        else if (this.io.now_us() < until_us) again();
        else done(new LinkError('NO_ANSWER', silentBoardText(connection.port?.name ?? '', connection.bytes, station.health())), null);
      });
    };
    again();
  }

  // ---- the board --------------------------------------------------------------------------------------------------

  /**
   * What follows from bytes and has to be told waits for the next tick: the processor is free at once, for the kernel that
   * carries an abort, and for the next bytes.
   */
  private bytes(connection: Connection, bytes: Uint8Array): void {
    connection.bytes += bytes.length;
    this.heard_us = this.io.now_us();
    const { station } = this;
    if (station === null) return;
    this.receiving = true;
    try {
      station.hostTime(this.heard_us);
      station.receive(bytes);
    } finally {
      this.receiving = false;
    }
  }

  /** That the port is gone is news; what it means for a motor is judged by the station, by the silence that follows. */
  private lost(connection: Connection, reason: string): void {
    connection.lost = reason;
    this.post({ type: 'lost', reason });
  }

  private event(event: BenchEvent): void {
    if (event.type === 'tripped' && event.trip.code === 'LINK_LOST') this.linkLost = true;
    if (event.type === 'stopped') this.turning = false;
    // What a run asks about when it ends has to be there before the end is.
    if (event.type === 'stopped' || event.type === 'tripped' || event.type === 'ended') this.tellState();
    this.post({ type: 'event', event });
    if (event.type === 'stopped' && this.leaving !== null) this.letGo();
  }

  private arm(id: number): void {
    if (this.station === null) {
      this.answer(id, NOT_CONNECTED);
      return;
    }
    this.turning = true;
    this.station.arm((permit) => {
      if (!permit.granted) this.turning = false;
      this.answer(id, permit);
    });
  }

  // ---- telling ----------------------------------------------------------------------------------------------------

  /** Tells the main process, in order. */
  private post(message: FromGuard): void {
    if (this.receiving) {
      this.outbox.push(message);
      return;
    }
    this.handOn();
    this.io.post(message);
  }

  private handOn(): void {
    for (const message of this.outbox.splice(0)) this.io.post(message);
  }

  private answer(id: number, permit: Permit): void {
    this.tellState();
    this.post({ type: 'answer', id, permit });
  }

  private tellState(): void {
    const now_us = this.io.now_us();
    this.told_us = now_us;
    const { station, setup } = this;
    const lost = this.connection?.lost ?? null;
    if (station === null || setup === null) {
      this.post({ type: 'state', state: { host_us: now_us, heard_us: 0, device_us: -1, rate: 1, permit: NOT_CONNECTED, closest: [], latest: [], health: NO_HEALTH, lost } });
      return;
    }
    this.post({
      type: 'state',
      state: {
        host_us: now_us, heard_us: this.heard_us, device_us: station.now_us(), rate: station.clock.rate, permit: station.permit(), closest: station.closest(),
        latest: setup.facts.map((f) => station.latest(f.id)), health: station.health(), lost,
      },
    });
  }

  private letGo(): void {
    if (this.gone) return;
    this.gone = true;
    this.station?.flush();
    this.post({ type: 'leaving', why: this.leaving?.why ?? '' });
    const left = (): void => {
      this.handOn();
      this.io.left();
    };
    void (this.connection?.port?.close() ?? Promise.resolve()).then(left, left);
  }
}

const NOT_CONNECTED: Permit = { granted: false, reasons: ['The board is not connected.'] };
const NO_HEALTH = { frames: 0, bad_frames: 0, missing_frames: 0, doubled_frames: 0, resent_commands: 0 };

function boardNote(station: Station, connection: Connection): BoardNote | null {
  const identity = station.identity;
  return identity === null ? null : { port: connection.port?.name ?? '', uid: identity.uid, firmware: identity.firmware, reset: resetText(identity.reset) };
}
