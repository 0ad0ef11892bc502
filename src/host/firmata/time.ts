// Time as a Firmata board takes it: given from outside, so that a test can play it.

export interface BoardTime {
  /** Steady clock, µs. */
  now_us(): number;
  /** Calls `then` about every `ms` until the returned function is called. */
  every(ms: number, then: () => void): () => void;
}

/** Resolves true as soon as `done`, false after `within_ms`. Looked at every millisecond, and whenever the clock moves on. */
export function waitFor(time: BoardTime, within_ms: number, done: () => boolean): Promise<boolean> {
  if (done()) return Promise.resolve(true);
  const until_us = time.now_us() + within_ms * 1000;
  return new Promise((resolve) => {
    const stop = time.every(1, () => {
      const there = done();
      if (!there && time.now_us() < until_us) return;
      stop();
      resolve(there);
    });
  });
}
