// One run in the making: turns what the bench tells into happenings, and transitions into orders to the bench.
import type { BenchEvent, RunOutcome } from '../model/events';
import type { SampleBlock } from '../model/sample';
import type { ProtocolSteps } from '../model/segment';
import type { Permit, Trip } from '../model/trip';
import { Feeder } from './feeder';
import { type Happening, Ledger, type Transition } from './ledger';
import { Listener } from './listener';
import { worse } from './machine';
import type { OperatorRequest, RunOptions, RunPorts, RunProgress } from './options';

export class Run {
  /** Where faults of the log, the bench and the protocol go; set before anything happens. */
  onFault: (fault: Happening) => void = () => undefined;
  private readonly ledger: Ledger;
  private readonly feeder: Feeder;
  /** Time from the start of each planned segment to the end of the last, s. */
  private readonly leftFrom_s: readonly number[];
  private listener: Listener | null = null;
  private logFailed = false;
  private outcome: RunOutcome | null = null;

  constructor(steps: ProtocolSteps, private readonly ports: RunPorts, private readonly options: RunOptions, private readonly lead_s: number) {
    this.feeder = new Feeder(steps);
    this.ledger = new Ledger(options.planned_s.length);
    let left_s = 0;
    this.leftFrom_s = options.planned_s.toReversed().map((duration_s) => (left_s += duration_s)).reverse();
  }

  /**
   * Records an event and says what it means for the table. A failure to record it comes first, so that no run ends well with
   * a hole in its record; only a start comes before it, because the stop that follows belongs to that segment.
   */
  hear(event: BenchEvent): Happening[] {
    const marks = event.type === 'segment-started' ? this.feeder.marksBefore(event.ordinal) : event.type === 'ended' && event.how === 'complete' ? this.feeder.marksBefore(Infinity) : [];
    const faults = [
      ...this.record(() => this.ports.log.event(event)),
      ...marks.flatMap((label) => this.record(() => this.ports.log.event({ type: 'mark', tick_us: event.tick_us, label }))),
    ];
    this.ledger.note(event);
    // Between a trip of the station and the board's hearing of it, the board may start another segment: recorded, and no news.
    if (event.type === 'segment-started') return this.ledger.tripped ? faults : [...meaningOf(event), ...faults];
    return [...faults, ...meaningOf(event)];
  }

  /** Records a block, and answers the protocol when the part it asked about has passed. */
  takeBlock(block: SampleBlock): void {
    if (!this.logFailed) this.record(() => this.ports.log.block(block)).forEach(this.onFault);
    const { listener } = this;
    if (listener === null || listener.done) return;
    listener.take(block);
    if (listener.done) this.answer(listener);
  }

  /** An operator's request. Stopping is ordered here and now; the table follows. */
  obey(request: OperatorRequest): Happening {
    if (request === 'stop-now') {
      this.ledger.because('the operator asked for it');
      this.attempt(() => this.ports.bench.stopNow());
    }
    this.record(() => this.ports.log.event({ type: 'operator', tick_us: this.ports.clock.now_us(), what: request })).forEach(this.onFault);
    return { input: request === 'stop-now' ? 'stop' : 'finish' };
  }

  take(happening: Happening): Transition {
    return this.ledger.take(happening);
  }

  /** Gives the orders that belong to a transition. */
  act(t: Transition): void {
    const { bench } = this.ports;
    switch (t.to) {
      case 'ready':
        if (t.from === 'ready') break;
        this.feed(0);
        this.attempt(() => bench.start(this.options.bound_s));
        break;
      case 'playing':
        if (t.by.input === 'started') this.follow();
        break;
      case 'finishing':
        if (t.from === 'finishing') break;
        this.feeder.close();
        this.attempt(() => bench.finishSegment());
        break;
      case 'stopping':
      case 'confirming':
        if (t.from === t.to && t.by.input !== 'stop') break;
        this.feeder.close();
        this.attempt(() => bench.stopNow());
        break;
      case 'ended':
        this.settle();
        break;
      case 'idle':
      case 'checking':
      case 'arming':
        break;
    }
  }

  beat(): void {
    this.attempt(() => this.ports.bench.beat());
  }

  progress(): RunProgress {
    const { state, playing, desyncs } = this.ledger;
    const planned = this.leftFrom_s.length;
    const left = this.leftFrom_s[(playing?.ordinal ?? 1) - 1] ?? 0;
    const spent = playing === null ? 0 : (this.ports.clock.now_us() - playing.started_us) / 1e6;
    return {
      state, desyncs, outcome: this.outcome,
      ordinal: playing?.ordinal ?? 0, of: Math.max(planned, playing?.ordinal ?? 0), label: playing?.label ?? '', role: playing?.role ?? '',
      time_left_s: state === 'ended' ? 0 : Math.max(0, left - Math.max(0, spent)),
    };
  }

  /** Ends a run that nobody waits for any more. Does nothing once there is an outcome. */
  abandon(why: string): RunProgress {
    if (this.outcome === null) {
      this.attempt(() => this.ports.bench.stopNow());
      this.ledger.leave(why);
      this.settle();
    }
    return this.progress();
  }

  /** What a permit means, as an answer to the question whether the run may go on. */
  permission(permit: Permit): Happening {
    if (permit.granted) return { input: 'permitted' };
    return { input: 'refused', detail: permit.reasons.length > 0 ? permit.reasons.join('; ') : 'the bench gave no reason' };
  }

  /** Writes the outcome the moment it is known; everything else comes later. */
  private settle(): void {
    if (this.outcome !== null) return;
    const known = this.ledger.result(this.closest());
    try {
      this.ports.log.outcome(known);
      this.outcome = known;
    } catch (error) {
      const trip = this.cannotRecord(error);
      this.outcome = {
        ...known, outcome: worse(known.outcome, 'tripped') ?? 'tripped', trip: known.trip ?? trip, also: known.trip === null ? known.also : [...known.also, trip],
        detail: `${known.detail} The outcome could not be written: ${messageOf(error)}.`,
      };
    }
    this.feeder.close();
    this.tidyUp();
  }

  private closest(): RunOutcome['closest'] {
    try {
      return this.ports.bench.closest();
    } catch {
      // The run is over: a missing closest approach must not cost the outcome.
      return [];
    }
  }

  /** A segment has started: keeps the queue topped up and listens if the protocol asks about this one. */
  private follow(): void {
    const { playing } = this.ledger;
    if (playing === null) return;
    this.feed(playing.ordinal);
    const question = this.feeder.open;
    if (question?.about.ordinal !== playing.ordinal || this.listener?.ordinal === playing.ordinal) return;
    this.listener = new Listener(playing.ordinal, playing.started_us, question.about.segment.duration_s, this.options.channels, this.lead_s);
  }

  private answer(listener: Listener): void {
    for (let open = this.feeder.open; open?.about.ordinal === listener.ordinal; open = this.feeder.open) {
      this.feeder.reply(listener.mean(open.ask.channel, open.ask.over_s));
      this.feed(listener.ordinal);
    }
  }

  private feed(playing: number): void {
    try {
      const segments = this.feeder.pull(playing);
      if (playing === 0 && segments.length === 0) throw new RangeError('the protocol has no segment');
      if (segments.length > 0) this.attempt(() => this.ports.bench.feed(segments));
    } catch (error) {
      this.feeder.close();
      this.onFault({ input: 'protocol-failed', detail: `the protocol: ${messageOf(error)}` });
    }
  }

  /** The protocol's own tidying up. Its failure changes nothing any more: the outcome is written. */
  private tidyUp(): void {
    try {
      this.feeder.tidyUp();
    } catch (error) {
      this.onFault({ input: 'protocol-failed', detail: `the protocol, while it tidied up: ${messageOf(error)}` });
    }
  }

  /** Writes to the log. The first failure stops the run: what cannot be recorded must not be driven. */
  private record(write: () => void): Happening[] {
    try {
      write();
      return [];
    } catch (error) {
      if (this.logFailed) return [];
      this.logFailed = true;
      return [{ input: 'cannot-record', trip: this.cannotRecord(error) }];
    }
  }

  private attempt(order: () => void): void {
    try {
      order();
    } catch (error) {
      this.onFault({ input: 'bench-failed', detail: `the bench: ${messageOf(error)}` });
    }
  }

  private cannotRecord(error: unknown): Trip {
    return {
      code: 'CANNOT_RECORD', by: 'station', tick_us: this.ports.clock.now_us(), value: null, limit: null, unit: '', channel: null,
      ordinal: this.ledger.playing?.ordinal ?? 0, detail: `the record could not be written: ${messageOf(error)}`,
    };
  }
}

function meaningOf(event: BenchEvent): Happening[] {
  switch (event.type) {
    case 'segment-started':
      return [{ input: 'started' }];
    case 'ended':
      return [{ input: event.how === 'stopped' ? 'cut' : event.how }];
    case 'tripped':
      return [{ input: 'tripped', trip: event.trip }];
    case 'stopped':
      return [{ input: event.confirmed ? 'still' : 'not-still', detail: event.detail }];
    case 'segment-ended':
    case 'state':
    case 'desync':
    case 'mark':
    case 'operator':
    case 'link':
      return [];
  }
}

function messageOf(error: unknown): string {
  return error instanceof Error ? error.message : String(error);
}
