/** Where the segments of a run lie in device time. */
import type { PlayedSegment, RunData } from '../../src/analysis/run-data';

/** The simulated board stamps a tick with its end, so a segment begins and ends one tick before its stamp. */
const TICK_US = 1000;

export type Stretch = { readonly from_us: number; readonly to_us: number; readonly segment: PlayedSegment['segment'] };

/** Segments with one of these roles, in their order. */
export function stretches(data: RunData, ...roles: readonly string[]): Stretch[] {
  return data.segments.filter((s) => roles.includes(s.segment.role)).map((s) => ({
    from_us: data.origin_us + 1e6 * s.start_s - TICK_US, to_us: data.origin_us + 1e6 * s.end_s - TICK_US, segment: s.segment,
  }));
}

/** The only or last one. @throws Error when there is none */
export function stretch(data: RunData, role: string): Stretch {
  const found = stretches(data, role).at(-1);
  if (found === undefined) throw new Error(`${data.record_id}: no segment has the role "${role}"`);
  return found;
}
