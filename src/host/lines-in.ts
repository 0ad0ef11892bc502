// Lines that somebody types or pipes in.
import { createInterface } from 'node:readline';

/** Calls `take` with every line of standard input; `ended` when there are no more. Returns how to stop listening. */
export function linesIn(take: (line: string) => void, ended: () => void = () => undefined): () => void {
  const lines = createInterface({ input: process.stdin, terminal: false });
  lines.on('line', take);
  lines.on('close', ended);
  return () => {
    lines.close();
    process.stdin.destroy();
  };
}
