// Iterating a protocol without answers: the list, the time, the profile and the highest demands of it. Listing, drawing,
// timing and checking a protocol are all this one walk.
import type { Mark, ProtocolSteps, Segment } from '../model/segment';
import { SEGMENTS_MAX, faultsOf } from './check-step';

/** A segment with its place. Throttles are null where a closed loop decides. */
export interface WalkedSegment {
  /** 1, 2, … as in the run. */
  readonly ordinal: number;
  readonly segment: Segment;
  readonly start_s: number;
  readonly end_s: number;
  readonly from: number | null;
  readonly to: number | null;
}

/** A corner of the throttle profile. Two points at one time are a step; null is a closed loop. */
export interface ProfilePoint {
  readonly t_s: number;
  readonly throttle: number | null;
}

/** The most that a protocol asks for: throttle outside closed loops, and hold targets (null when it has no such hold). */
export interface Peaks {
  readonly throttle: number;
  readonly current_A: number | null;
  readonly power_W: number | null;
  readonly speed_rpm: number | null;
}

export interface StepProblem {
  /** Ordinal of the segment, or of the segment before a mark or an ask. */
  readonly ordinal: number;
  readonly label: string;
  readonly message: string;
}

export interface Walk {
  readonly segments: readonly WalkedSegment[];
  readonly marks: readonly { readonly at_s: number; readonly label: string }[];
  /** How many times the protocol asks for a measurement: what follows may then differ from this walk. */
  readonly asks: number;
  /** The longest that it takes: every wait-until at its bound. */
  readonly duration_s: number;
  readonly points: readonly ProfilePoint[];
  readonly peaks: Peaks;
  readonly problems: readonly StepProblem[];
}

/**
 * Walks a protocol to its end, or to the first point where it cannot go on: an error thrown by a protocol and too many
 * segments become problems of the walk.
 */
export function walk(steps: ProtocolSteps): Walk {
  const w = new Walker();
  try {
    for (let step = steps.next(); step.done !== true; step = steps.next(undefined)) {
      if (step.value.kind === 'mark') w.mark(step.value);
      else if (step.value.kind === 'ask') w.ask(faultsOf(step.value));
      else w.segment(step.value);
      if (w.segments.length > SEGMENTS_MAX) {
        w.problem(`more than ${SEGMENTS_MAX} segments; split the protocol`);
        break;
      }
    }
  } catch (error) {
    w.problem(`the protocol failed while it was listed: ${error instanceof Error ? error.message : String(error)}`);
  } finally {
    steps.return();
  }
  if (w.segments.length === 0) w.problem('the protocol has no segment');
  return w.result();
}

class Walker {
  readonly segments: WalkedSegment[] = [];
  private readonly marks: { at_s: number; label: string }[] = [];
  private readonly points: ProfilePoint[] = [{ t_s: 0, throttle: 0 }];
  private readonly problems: StepProblem[] = [];
  private asks = 0;
  private now = 0;
  private throttle: number | null = 0;

  segment(s: Segment): void {
    const from = this.throttle;
    const start_s = this.now;
    // Whole microseconds, as the board counts them, so that long sums stay clean.
    if (s.duration_s > 0 && Number.isFinite(s.duration_s)) this.now = Math.round((this.now + s.duration_s) * 1e6) / 1e6;
    this.profile(s, start_s);
    this.segments.push({ ordinal: this.segments.length + 1, segment: s, start_s, end_s: this.now, from, to: this.throttle });
    for (const fault of faultsOf(s)) this.problem(fault);
  }

  mark(m: Mark): void {
    this.marks.push({ at_s: this.now, label: m.label });
    for (const fault of faultsOf(m)) this.problem(fault);
  }

  ask(faults: readonly string[]): void {
    this.asks++;
    for (const fault of faults) this.problem(fault);
    const before = this.segments.at(-1)?.segment;
    if (before === undefined) this.problem('asks for a measurement before the first segment; put a level or a hold first');
    else if (before.kind === 'wait-until') this.problem('asks for a measurement right after a wait-until, which may end at any moment; put a level or a hold between them');
  }

  problem(message: string): void {
    const last = this.segments.at(-1);
    this.problems.push({ ordinal: last?.ordinal ?? 0, label: last?.segment.label ?? 'start', message });
  }

  result(): Walk {
    const segments = this.segments.map((w) => w.segment);
    const most = (values: readonly number[]): number | null => values.reduce<number | null>((a, b) => (a === null ? b : Math.max(a, b)), null);
    return {
      segments: this.segments, marks: this.marks, asks: this.asks, duration_s: this.now, points: this.points, problems: this.problems,
      peaks: {
        throttle: most(segments.map(highestThrottle)) ?? 0,
        current_A: most(segments.flatMap((s) => (s.kind === 'hold-current' ? [s.target_A] : []))),
        power_W: most(segments.flatMap((s) => (s.kind === 'hold-power' ? [s.target_W] : []))),
        speed_rpm: most(segments.flatMap((s) => (s.kind === 'hold-speed' ? [s.target_rpm] : []))),
      },
    };
  }

  /** Adds the corners of one segment and leaves `throttle` at its end. */
  private profile(s: Segment, start_s: number): void {
    const before = this.throttle;
    switch (s.kind) {
      case 'rest':
        this.corner(start_s, 0);
        break;
      case 'ramp':
        this.corner(start_s, before);
        this.throttle = s.to;
        break;
      case 'level':
      case 'wait-until':
        this.move(before, s.throttle, s.slew_per_s, start_s);
        break;
      default:
        this.corner(start_s, null);
    }
    this.points.push({ t_s: this.now, throttle: this.throttle });
  }

  /** A step, or a line where the slew limit makes one; a level too short for its slew ends on the way. */
  private move(before: number | null, to: number, slew: number | undefined, start_s: number): void {
    if (before === null || slew === undefined || !(slew > 0)) {
      this.corner(start_s, to);
      return;
    }
    const arrives_s = start_s + Math.abs(to - before) / slew;
    this.corner(start_s, before);
    if (arrives_s < this.now) this.points.push({ t_s: arrives_s, throttle: to });
    this.throttle = arrives_s <= this.now ? to : before + Math.sign(to - before) * slew * (this.now - start_s);
  }

  private corner(t_s: number, throttle: number | null): void {
    this.throttle = throttle;
    if (this.points.at(-1)?.throttle !== throttle) this.points.push({ t_s, throttle });
  }
}

/** The throttle that a segment commands. A closed loop commands none: the rig's cap bounds it. */
function highestThrottle(s: Segment): number {
  switch (s.kind) {
    case 'rest':
      return 0;
    case 'ramp':
      return s.to;
    case 'level':
    case 'wait-until':
      return s.throttle;
    default:
      return 0;
  }
}
