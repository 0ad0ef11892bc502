// What is known about a run while it goes on, and the outcome that follows from it.
import type { BenchEvent, Outcome, RunOutcome } from '../model/events';
import type { ClosestApproach, Trip } from '../model/trip';
import { type RunInput, type RunState, advance, worse } from './machine';

/** One thing that happened, as the table knows it, with what came along. */
export interface Happening {
  readonly input: RunInput;
  readonly trip?: Trip;
  /** Why, in words, for a person. */
  readonly detail?: string;
}

/** Where a step through the table led. */
export interface Transition {
  readonly from: RunState;
  readonly to: RunState;
  readonly by: Happening;
}

/** The segment being played. */
export interface Playing {
  readonly ordinal: number;
  readonly label: string;
  readonly role: string;
  readonly started_us: number;
}

export class Ledger {
  state: RunState = 'idle';
  playing: Playing | null = null;
  desyncs = 0;
  private played = 0;
  private outcome: Outcome | null = null;
  private still: string | null = null;
  private readonly trips: Trip[] = [];
  private readonly reasons = new Set<string>();

  /** @param planned how many segments are expected */
  constructor(private readonly planned: number) {}

  /** Takes one happening through the table. */
  take(by: Happening): Transition {
    const from = this.state;
    const step = advance(from, by.input);
    this.state = step.state;
    this.outcome = worse(this.outcome, step.outcome);
    if (by.trip !== undefined && from !== 'ended') this.trips.push(by.trip);
    if (by.input === 'still' && from !== 'ended' && step.state === 'ended') this.still = by.detail ?? '';
    if (step.broken !== null) this.reasons.add(step.broken);
    else if (step.outcome !== null && by.trip === undefined && by.detail !== undefined) this.reasons.add(by.detail);
    return { from, to: step.state, by };
  }

  /** The run has tripped. */
  get tripped(): boolean {
    return this.trips.length > 0;
  }

  /** Remembers why a run that has not ended yet is about to end. */
  because(reason: string): void {
    if (this.state !== 'confirming' && this.state !== 'ended') this.reasons.add(reason);
  }

  /** Counts what the events tell besides the table. */
  note(event: BenchEvent): void {
    if (event.type === 'segment-started') {
      const { label, role } = event.segment;
      this.playing = { ordinal: event.ordinal, label, role, started_us: event.tick_us };
    } else if (event.type === 'segment-ended' && (event.why === 'time' || event.why === 'asked')) this.played++;
    else if (event.type === 'desync') this.desyncs++;
  }

  /** The run as it was left without an end: never better than unconfirmed. */
  leave(why: string): void {
    if (this.state === 'ended') return;
    this.state = 'ended';
    this.outcome = 'stop-unconfirmed';
    this.reasons.add(why);
  }

  /** The outcome as known now. */
  result(closest: readonly ClosestApproach[]): RunOutcome {
    const outcome = this.outcome ?? 'failed';
    return Object.freeze({
      outcome,
      stop_confirmed: this.still !== null,
      trip: this.trips[0] ?? null,
      also: this.trips.slice(1),
      segments_played: this.played,
      desyncs: this.desyncs,
      closest,
      detail: this.sentence(outcome),
    });
  }

  private sentence(outcome: Outcome): string {
    const [first] = this.trips;
    const at = this.playing === null ? 'before the first segment' : `at segment ${this.playing.ordinal}/${Math.max(this.planned, this.playing.ordinal)} "${this.playing.label}"`;
    const because = this.reasons.size === 0 ? '' : `: ${[...this.reasons].map((r) => r.replace(/\.$/, '')).join('; ')}`;
    const trip = first === undefined ? '' : `Trip ${first.code} ${at}: ${first.detail.replace(/\.$/, '')}. `;
    const still = this.still === null ? '' : `The motor was measured to stand still${this.still === '' ? '' : `: ${this.still.replace(/\.$/, '').replace(/^Measured still /, '')}`}.`;
    return `${what(outcome, at, because, trip, this.played)}${still}`.trim();
  }
}

function what(outcome: Outcome, at: string, because: string, trip: string, played: number): string {
  switch (outcome) {
    case 'done':
      return `All ${played} segments were played. `;
    case 'refused':
      return `Not armed${because}. `;
    case 'finished-early':
      return `The operator ended the run early, ${at}. `;
    case 'stopped':
      return `Stopped ${at}${because}. `;
    case 'starved':
      return `The board ran out of segments ${at} and went to zero${because}. `;
    case 'tripped':
      return trip;
    case 'failed':
      return `The run failed ${at}${because}. ${trip}`;
    case 'stop-unconfirmed':
      return `Cut the power. The motor was not measured to stand still${because}. ${trip}`;
  }
}
