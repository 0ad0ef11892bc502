// Calls paced by the real clock.

/** Calls `step` about every `every_ms` until the returned function is called. */
export function pace(every_ms: number, step: () => void): () => void {
  const timer = setInterval(step, every_ms);
  return () => { clearInterval(timer); };
}

/** Resolves after so many milliseconds, or at once when the signal aborts. */
export function pause(ms: number, signal?: AbortSignal): Promise<void> {
  return new Promise((resolve) => {
    const end = (): void => {
      clearTimeout(timer);
      signal?.removeEventListener('abort', end);
      resolve();
    };
    const timer = setTimeout(end, ms);
    signal?.addEventListener('abort', end);
    if (signal?.aborted === true) end();
  });
}
