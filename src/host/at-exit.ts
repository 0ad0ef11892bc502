// What must happen however the process ends, short of being killed outright: normally, by an error nobody caught, by a signal.
import type { Unlisten } from './signals';

const SIGNALS = ['SIGINT', 'SIGTERM', 'SIGHUP'] as const;

/**
 * Does `work` when the process ends. It must not wait for anything. A signal counts only where nobody else listens to it:
 * whoever does brings the bench to rest in its own time.
 */
export function atExit(work: () => void): Unlisten {
  const handlers = SIGNALS.map((name) => {
    const handler = (): void => {
      if (process.listenerCount(name) > 1) return;
      work();
      process.off(name, handler);
      process.kill(process.pid, name);
    };
    process.on(name, handler);
    return [name, handler] as const;
  });
  process.on('exit', work);
  return () => {
    process.off('exit', work);
    for (const [name, handler] of handlers) process.off(name, handler);
  };
}
