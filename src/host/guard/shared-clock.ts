// One clock for all processes of this computer: the steady clock of the system, unlike performance.now() with one zero for all.

/** Microseconds; rises steadily, whatever happens to the time of day. */
export function sharedClock_us(): number {
  const [s, ns] = process.hrtime();
  return s * 1e6 + ns / 1e3;
}
