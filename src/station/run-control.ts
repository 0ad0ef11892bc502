// One run on the board: arming, feeding, starting, ending early; and how often rows come meanwhile.
import type { CommandChannel } from '../link/command-channel';
import { refusal, type Session } from '../link/session';
import type { ChannelFact } from '../model/channel';
import type { BenchEvent } from '../model/events';
import type { Permit } from '../model/trip';
import { beginRun } from '../safety/judge';
import type { NumberedSegment } from '../sequencer/ports';
import * as M from '../wire/messages';
import type { Plan } from './config';
import { SegmentFeeder } from './feeder';
import { Progress } from './progress';
import { rawSegment } from './raw-segment';
import type { Supervision } from './supervision';
import { UntilWatch } from './until';

export interface RunPorts {
  readonly commands: CommandChannel;
  readonly session: Session;
  readonly supervision: Supervision;
  readonly tell: (event: BenchEvent) => void;
  /** Renews the permit now. */
  readonly renew: () => void;
}

export class RunControl {
  /** The board is ready or driving. */
  armed = false;
  readonly progress: Progress;
  private readonly feeder: SegmentFeeder;
  private readonly until: UntilWatch;
  /** Who waits for the answer to arming. */
  private arming: ((permit: Permit) => void) | null = null;
  /** A start that waits for the board to have its segments. */
  private wanted: { readonly bound_s: number } | null = null;
  private rate: 'slow' | 'fast' = 'slow';

  constructor(
    private readonly plan: Plan,
    facts: readonly ChannelFact[],
    private readonly ports: RunPorts,
  ) {
    this.until = new UntilWatch(facts);
    this.progress = new Progress(ports.tell, ({ ordinal, segment }) => this.until.begin(ordinal, segment.kind === 'wait-until' ? segment.until : null));
    const context = { facts, guards: plan.guards, supply_V: plan.supply_V };
    this.feeder = new SegmentFeeder({
      request: (raw, done) => ports.commands.request({ name: 'segment', ...raw }, done),
      convert: (s) => rawSegment(s.ordinal, s.segment, s.last, context),
      fault: (detail) => ports.supervision.trouble('HOST_FAULT', detail),
      taken: () => this.push(),
    });
  }

  /** Arms the board, which nothing blocks (`permit`); `done` receives the permit, or the board's refusal. */
  arm(permit: Permit, checksum: number, done: (permit: Permit) => void): void {
    const { commands, supervision } = this.ports;
    this.progress.begin();
    this.feeder.clear();
    supervision.judge.rules.bounds.clear();
    this.arming = done;
    this.setRate('fast');
    commands.request({ name: 'arm', checksum }, (result) => {
      if (!result.ok) {
        this.notArmed(result.why === 'refused' ? `The board refused to be armed: ${refusal(result.ack)}.` : 'The board did not answer to arming.');
        this.setRate('slow');
        return;
      }
      this.arming = null;
      this.armed = true;
      supervision.mayTurn();
      this.ports.renew();
      done(permit);
      this.push();
    });
  }

  feed(segments: readonly NumberedSegment[]): void {
    const { bounds } = this.ports.supervision.judge.rules;
    this.progress.know(segments);
    for (const { ordinal, segment } of segments) bounds.set(ordinal, segment.duration_s * 1e6);
    this.feeder.add(segments);
    this.push();
  }

  start(bound_s: number): void {
    this.wanted = { bound_s };
    this.push();
  }

  endSegment(ordinal: number): void {
    if (!this.progress.active || ordinal !== this.progress.playing) return;
    this.progress.ask(ordinal);
    this.ports.commands.request({ name: 'end-segment', ordinal }, () => undefined);
  }

  finishSegment(): void {
    if (!this.progress.active) return;
    this.progress.finishing = true;
    this.feeder.drop();
    this.clearAfter();
  }

  /** Nothing more is fed, started or waited for. */
  quit(): void {
    this.notArmed(this.ports.supervision.judge.latch.first?.detail ?? 'Stopped while arming.');
    if (this.ports.session.phase === 'ready') this.ports.commands.abandon();
    this.feeder.clear();
    this.until.begin(0, null);
    this.wanted = null;
  }

  /** Fills the board's queue; called whenever there may be room again. */
  pump(): void {
    if (this.armed) this.feeder.pump(this.progress.playing);
  }

  /** After each row: ends a wait-until whose condition has held. */
  stepUntil(): void {
    const end = this.until.step(this.ports.supervision.judge.row);
    if (end > 0) this.endSegment(end);
  }

  setRate(rate: 'slow' | 'fast'): void {
    if (rate === this.rate) return;
    this.rate = rate;
    this.ports.commands.request({ name: 'set-telemetry', divider: this.plan[rate] }, (result) => {
      if (!result.ok) this.rate = rate === 'fast' ? 'slow' : 'fast';
    });
  }

  /** The handshake sets slow rows (a board that is met tripped has none set). */
  rateIsSlow(): void {
    this.rate = 'slow';
  }

  /** Feeds the board, and starts it once it has what was fed so far (or all that it can hold). */
  private push(): void {
    if (!this.armed) return;
    this.pump();
    const { wanted, feeder } = this;
    if (wanted === null || feeder.taken === 0 || (!feeder.idle && feeder.taken < M.SEGMENT_QUEUE)) return;
    this.wanted = null;
    const { commands, supervision } = this.ports;
    beginRun(supervision.judge, wanted.bound_s);
    this.ports.renew();
    commands.request({ name: 'start' }, (result) => {
      if (result.ok) return;
      supervision.trouble('HOST_FAULT', result.why === 'refused' ? `The board refused to start: ${refusal(result.ack)}.` : 'The board did not answer to the start.');
    });
  }

  private notArmed(reason: string): void {
    const done = this.arming;
    this.arming = null;
    done?.({ granted: false, reasons: [reason] });
  }

  private clearAfter(): void {
    const { playing } = this.progress;
    this.ports.commands.request({ name: 'clear-after', ordinal: playing }, (result) => {
      // The board had moved on by the time it heard: the segment that plays now is the one to finish.
      if (!result.ok && this.progress.active && this.progress.playing !== playing) this.clearAfter();
    });
  }
}
