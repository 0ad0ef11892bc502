// A bench without motor, board or wire, in virtual time: plays what it is fed, and does what a test tells it to.
import { EMPTY, NEVER, type Observable, Subject, VirtualTimeScheduler, of, throwError } from 'rxjs';
import { COLUMN_OF, type ChannelFact, type ChannelKind } from '../../src/model/channel';
import type { BenchEvent, RunOutcome } from '../../src/model/events';
import type { SampleBlock } from '../../src/model/sample';
import type { ClosestApproach, Permit, Trip, TripCode } from '../../src/model/trip';
import type { Bench, Clock, NumberedSegment, RunLog } from '../../src/sequencer/ports';

export interface FakeHabits {
  permit: Permit;
  arming: 'granted' | 'refused' | 'silent' | 'error' | 'empty';
  /** Whether the board starts to play when told to. */
  starts: boolean;
  /** Time from zero throttle to measured standstill, ms; null when it is never measured. */
  still_ms: number | null;
  /** What the measurement says. */
  confirmed: boolean;
  /** Time after which a wait-until is ended, ms; null when its bound is reached. */
  wait_ms: number | null;
  /** Counts of a channel at a time, with its masks. */
  sample: (kind: ChannelKind, tick_us: number) => { counts: number; fresh: boolean; valid: boolean };
  /** A verb that throws when it is called. */
  breaks: 'feed' | 'start' | 'beat' | 'stopNow' | 'finishSegment' | 'permit' | 'closest' | null;
}

const GRANTED: Permit = { granted: true, reasons: [] };

/** Current in milliamperes and speed in rpm, both every row. */
export const FAKE_CHANNELS: readonly ChannelFact[] = (['current', 'speed'] as const).map((kind, id) => ({
  id, kind, column: COLUMN_OF[kind], period_us: 1000, conversion: { law: 'linear', zero: 0, c0: 0, c1: kind === 'current' ? 0.001 : 1, c2: 0 },
  u_gain: 0, u_offset: 0, filter_Hz: null, averaged: 1, placement: null,
}));

export class FakeBench implements Bench {
  readonly scheduler = new VirtualTimeScheduler();
  readonly clock: Clock = { scheduler: this.scheduler, now_us: () => this.scheduler.now() * 1000 };
  readonly events = new Subject<BenchEvent>();
  readonly blocks = new Subject<SampleBlock>();
  /** Every order to the bench and every line of the log, in the order in which they came. */
  readonly story: string[] = [];
  readonly fed: NumberedSegment[] = [];
  readonly beats_ms: number[] = [];
  readonly habits: FakeHabits = {
    permit: GRANTED, arming: 'granted', starts: true, still_ms: 40, confirmed: true, wait_ms: null, breaks: null,
    sample: () => ({ counts: 0, fresh: true, valid: true }),
  };
  bound_s: number | null = null;
  private queue: NumberedSegment[] = [];
  private playing: NumberedSegment | null = null;
  private cleared = false;
  private stopAsked = false;
  private turn = 0;

  permit(): Permit {
    this.order('permit');
    return this.habits.permit;
  }

  arm(): Observable<Permit> {
    this.order('arm');
    switch (this.habits.arming) {
      case 'granted':
        return of(GRANTED);
      case 'refused':
        return of({ granted: false, reasons: ['the motor is at 61 °C (limit 45 °C)'] });
      case 'silent':
        return NEVER;
      case 'empty':
        return EMPTY;
      case 'error':
        return throwError(() => new Error('no acknowledgement'));
    }
  }

  feed(segments: readonly NumberedSegment[]): void {
    this.order('feed', segments.map((s) => `${s.ordinal}${s.last ? '!' : ''}`).join(' '));
    this.fed.push(...segments);
    this.queue.push(...segments);
  }

  start(bound_s: number): void {
    this.order('start');
    this.bound_s = bound_s;
    if (this.habits.starts) this.next(0);
  }

  endSegment(ordinal: number): void {
    if (this.playing?.ordinal === ordinal) this.end('asked');
  }

  finishSegment(): void {
    this.order('finishSegment');
    this.queue = [];
    this.cleared = true;
  }

  stopNow(): void {
    this.order('stopNow');
    if (this.playing !== null) {
      const { ordinal } = this.playing;
      this.halt();
      this.say({ type: 'segment-ended', tick_us: this.now_us, ordinal, why: 'stopped' });
      this.say({ type: 'ended', tick_us: this.now_us, ordinal, how: 'stopped' });
    }
    if (this.stopAsked || this.habits.still_ms === null) return;
    this.stopAsked = true;
    this.after(this.habits.still_ms, () => this.say({ type: 'stopped', tick_us: this.now_us, confirmed: this.habits.confirmed, took_us: (this.habits.still_ms ?? 0) * 1000, detail: `after ${this.habits.still_ms} ms` }));
  }

  beat(): void {
    this.beats_ms.push(this.scheduler.now());
    if (this.habits.breaks === 'beat') throw new Error('beat broke');
  }

  closest(): readonly ClosestApproach[] {
    if (this.habits.breaks === 'closest') throw new Error('closest broke');
    return [{ limit: 'current_peak', value: 20, bound: 40, unit: 'A', ratio: 0.5, tick_us: 0 }];
  }

  /** A trip of the board or the station: zero throttle, latched. */
  trip(code: TripCode = 'CURRENT_PEAK'): void {
    const trip = tripOf(code, this.now_us, this.playing?.ordinal ?? 0);
    this.halt();
    this.say({ type: 'tripped', tick_us: this.now_us, trip });
  }

  /** Something that the bench says out of turn. */
  say(event: BenchEvent): void {
    this.events.next(event);
  }

  get now_us(): number {
    return this.clock.now_us();
  }

  /** Does something at a time of the virtual clock. */
  at(ms: number, what: () => void): void {
    this.scheduler.schedule(what, ms - this.scheduler.now());
  }

  /** Runs the clock until nothing is left to do, at most to this time. */
  runTo(ms: number): void {
    this.scheduler.maxFrames = ms;
    this.scheduler.flush();
  }

  private order(name: string, detail = ''): void {
    this.story.push(`bench ${name}${detail === '' ? '' : ` ${detail}`}`);
    if (this.habits.breaks === name) throw new Error(`${name} broke`);
  }

  private after(ms: number, what: () => void): void {
    this.scheduler.schedule(what, ms);
  }

  private next(ended: number): void {
    const segment = this.queue.shift();
    if (segment === undefined) {
      const last = this.fed.find((s) => s.ordinal === ended)?.last === true;
      this.halt();
      this.say({ type: 'ended', tick_us: this.now_us, ordinal: ended, how: this.cleared ? 'cleared' : last ? 'complete' : 'starved' });
      return;
    }
    this.playing = segment;
    const turn = ++this.turn;
    const waits = segment.segment.kind === 'wait-until' && this.habits.wait_ms !== null;
    this.say({ type: 'segment-started', tick_us: this.now_us, ordinal: segment.ordinal, segment: segment.segment, throttle: 0 });
    const duration = segment.segment.duration_s * 1000;
    this.after(waits ? Math.min(duration, this.habits.wait_ms ?? duration) : duration, () => {
      if (this.turn === turn) this.end(waits ? 'asked' : 'time');
    });
    this.rows(turn);
  }

  private end(why: 'time' | 'asked'): void {
    const ordinal = this.playing?.ordinal ?? 0;
    this.playing = null;
    this.turn++;
    this.say({ type: 'segment-ended', tick_us: this.now_us, ordinal, why });
    this.next(ordinal);
  }

  private halt(): void {
    this.playing = null;
    this.queue = [];
    this.turn++;
  }

  /** A block of ten rows every 10 ms while this segment plays. */
  private rows(turn: number): void {
    this.after(10, () => {
      if (this.turn !== turn || this.playing === null) return;
      this.blocks.next(this.block(this.playing.ordinal));
      this.rows(turn);
    });
  }

  private block(ordinal: number): SampleBlock {
    const rows = 10;
    const tick_us = Float64Array.from({ length: rows }, (_, i) => this.now_us - (rows - 1 - i) * 1000);
    const fresh = new Uint8Array(rows);
    const valid = new Uint8Array(rows);
    const counts = FAKE_CHANNELS.map((fact) => Int32Array.from(tick_us, (tick, row) => {
      const s = this.habits.sample(fact.kind, tick);
      if (s.fresh) fresh[row] = (fresh[row] ?? 0) | (1 << fact.id);
      if (s.valid) valid[row] = (valid[row] ?? 0) | (1 << fact.id);
      return s.counts;
    }));
    return { rows, tick_us, throttle: new Uint16Array(rows), state: new Uint8Array(rows).fill(2), ordinal: new Uint16Array(rows).fill(ordinal), fresh, valid, counts };
  }
}

export function tripOf(code: TripCode, tick_us = 0, ordinal = 0): Trip {
  return { code, by: 'controller', tick_us, value: 41, limit: 40, unit: 'A', channel: 'current_A', ordinal, detail: '41 A for 5 ms (limit 40 A for 5 ms)' };
}

/** Keeps what it is given; fails from the n-th write on, once or for good. */
export class FakeLog implements RunLog {
  readonly events: BenchEvent[] = [];
  readonly outcomes: RunOutcome[] = [];
  blocks = 0;
  writes = 0;

  constructor(private readonly story: string[], private readonly fails: (write: number, what: 'block' | 'event' | 'outcome') => boolean = () => false) {}

  block(_block: SampleBlock): void {
    this.write('block');
    this.blocks++;
  }

  event(event: BenchEvent): void {
    this.write('event');
    this.events.push(event);
    this.story.push(`log ${event.type}`);
  }

  outcome(outcome: RunOutcome): void {
    this.write('outcome');
    this.outcomes.push(outcome);
    this.story.push(`log outcome ${outcome.outcome}`);
  }

  private write(what: 'block' | 'event' | 'outcome'): void {
    this.writes++;
    if (this.fails(this.writes, what)) throw new Error('no space left on device');
  }
}
