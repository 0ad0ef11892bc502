// The real event loop, for callers that must not know about timers.

/** Lets signals, prints and I/O happen. Resolves on the next turn of the event loop. */
export function breathe(): Promise<void> {
  return new Promise((resolve) => {
    setImmediate(resolve);
  });
}
