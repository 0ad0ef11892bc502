// Ctrl-C and termination as requests to stop. However often it is pressed, the stop and the outcome still happen.

/** Undoes {@link onStopSignal}. */
export type Unlisten = () => void;

/**
 * Calls `stop` on every SIGINT, SIGTERM and SIGHUP with the count so far (1, 2, …). While listening, the process does not
 * end by these signals.
 */
export function onStopSignal(stop: (count: number, signal: string) => void): Unlisten {
  let count = 0;
  const names = ['SIGINT', 'SIGTERM', 'SIGHUP'] as const;
  const handlers = names.map((name) => {
    const handler = (): void => {
      count += 1;
      stop(count, name);
    };
    process.on(name, handler);
    return [name, handler] as const;
  });
  return () => {
    for (const [name, handler] of handlers) process.off(name, handler);
  };
}

/** Calls `finish` on SIGQUIT (Ctrl-\): finish the segment being played, then stop. */
export function onFinishSignal(finish: () => void): Unlisten {
  process.on('SIGQUIT', finish);
  return () => {
    process.off('SIGQUIT', finish);
  };
}
