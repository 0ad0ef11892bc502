// The verbs and streams of a bench whose station runs in the guard process.
import { Observable, Subject } from 'rxjs';
import { BEAT_EVERY_MS, type FromGuard, type GuardState } from '../host/guard/messages';
import { sharedClock_us } from '../host/guard/shared-clock';
import type { BenchEvent } from '../model/events';
import type { SampleBlock } from '../model/sample';
import type { ClosestApproach, Permit } from '../model/trip';
import type { Bench, NumberedSegment } from '../sequencer/ports';
import type { GuardTalk } from './guard-talk';

export class GuardBench implements Bench {
  readonly blocks: Observable<SampleBlock>;
  readonly events: Observable<BenchEvent>;
  /** What the guard told last; null before. */
  state: GuardState | null = null;
  /** From the order to arm until standstill the sequencer must show itself to be alive; else this process does. */
  armed = false;
  private readonly blockSubject = new Subject<SampleBlock>();
  private readonly eventSubject = new Subject<BenchEvent>();
  private beaten_us = -Infinity;
  private fault: string | null = null;

  constructor(private readonly talk: GuardTalk) {
    this.blocks = this.blockSubject.asObservable();
    this.events = this.eventSubject.asObservable();
  }

  // ---- what the guard says ----------------------------------------------------------------------------------------

  take(message: FromGuard): void {
    if (message.type === 'block') this.blockSubject.next(message.block);
    else if (message.type === 'fault') this.fault = message.detail;
    else if (message.type === 'event') {
      if (message.event.type === 'stopped') this.armed = false;
      this.eventSubject.next(message.event);
    }
  }

  /** Nobody measures any more whether the motor stands still: a run that is on is told so, by the loss of its bench. */
  lost(detail: string, tick_us: number): void {
    this.armed = false;
    this.eventSubject.next({
      type: 'tripped', tick_us,
      trip: { code: 'HOST_FAULT', by: 'station', tick_us, value: null, limit: null, unit: '', channel: null, ordinal: 0, detail },
    });
    this.eventSubject.next({ type: 'stopped', tick_us, confirmed: false, took_us: 0, detail: 'Nothing is measured any more: the guard process is gone.' });
  }

  /** Nothing comes any more. */
  complete(): void {
    this.blockSubject.complete();
    this.eventSubject.complete();
  }

  // ---- verbs ------------------------------------------------------------------------------------------------------

  arm(): Observable<Permit> {
    return new Observable<Permit>((subscriber) => {
      this.armed = true;
      return this.talk.question((id) => ({ type: 'arm', id }), (message) => {
        if (message.type !== 'answer') return;
        if (!message.permit.granted) this.armed = false;
        subscriber.next(message.permit);
        subscriber.complete();
      });
    });
  }

  feed(segments: readonly NumberedSegment[]): void {
    this.talk.post({ type: 'feed', segments });
  }

  start(bound_s: number): void {
    this.talk.post({ type: 'start', bound_s });
  }

  endSegment(ordinal: number): void {
    this.talk.post({ type: 'end-segment', ordinal });
  }

  finishSegment(): void {
    this.talk.post({ type: 'finish-segment' });
  }

  stopNow(): void {
    this.talk.post({ type: 'stop-now' });
  }

  /**
   * Callers may beat as often as they look; the guard needs no more than a few a second.
   * @throws Error what the guard could not do for the sequencer, as other benches do by an error of a verb
   */
  beat(): void {
    const { fault } = this;
    this.fault = null;
    if (fault !== null) throw new Error(fault);
    const now_us = sharedClock_us();
    if (now_us - this.beaten_us < (BEAT_EVERY_MS * 1000) / 4) return;
    this.beaten_us = now_us;
    this.talk.post({ type: 'beat' });
  }

  permit(): Permit {
    if (this.talk.gone !== null) return { granted: false, reasons: [this.talk.gone] };
    return this.state?.permit ?? { granted: false, reasons: ['The board is not connected.'] };
  }

  closest(): readonly ClosestApproach[] {
    return this.state?.closest ?? [];
  }
}
