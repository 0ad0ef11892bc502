/** An interval, or the plain reason why there is none. */
export type Interval =
  | { readonly confidence: number; readonly lower: number; readonly upper: number; readonly reason: null }
  | NoInterval;

/** The absence of an interval. */
export type NoInterval = { readonly confidence: number; readonly lower: null; readonly upper: null; readonly reason: string };

/** An interval from centre − half to centre + half. */
export const around = (centre: number, half: number, confidence: number): Interval =>
  between(centre - half, centre + half, confidence);

/** An interval with these ends. */
export function between(lower: number, upper: number, confidence: number): Interval {
  if (!Number.isFinite(lower) || !Number.isFinite(upper)) return noInterval(confidence, 'an end of the interval is not a finite number');
  return { confidence, lower, upper, reason: null };
}

/** No interval, because of `reason`. */
export const noInterval = (confidence: number, reason: string): NoInterval => ({ confidence, lower: null, upper: null, reason });
