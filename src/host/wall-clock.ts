// The real clocks. Only the journal, folder names and progress displays use them; nothing that is judged or recorded does.

/** Wall clock, milliseconds since 1970-01-01T00:00Z. */
export function wallClock_ms(): number {
  return Date.now();
}

/** Steady clock for durations, milliseconds. */
export function steady_ms(): number {
  return performance.now();
}

/** `2026-03-01T14-05-09Z`: a time that sorts and may stand in a file name. */
export function stampForFile(ms: number): string {
  return new Date(ms).toISOString().replace(/\.\d+Z$/, 'Z').replaceAll(':', '-');
}

/** ISO 8601 with milliseconds. */
export function stamp(ms: number): string {
  return new Date(ms).toISOString();
}

/** `2026-03-01`, UTC. */
export function today(): string {
  return stamp(wallClock_ms()).slice(0, 10);
}
