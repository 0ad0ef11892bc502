// Errors that end a command: which exit code, and what to print.
import { BadInput, CannotRecord } from '../app/errors';
import { EXIT, type ExitCode } from './exit-codes';

/** Prints what went wrong to stderr and returns the exit code. Bad input lists every problem; anything else shows its causes. */
export function reportFailure(error: unknown): ExitCode {
  if (error instanceof BadInput) {
    process.stderr.write(`${error.lines.join('\n')}\n`);
    return EXIT.badInput;
  }
  if (error instanceof CannotRecord) {
    process.stderr.write(`${error.message}\nNothing is driven that cannot be recorded: the motor is off. Make room, then go on with --resume.\n`);
    return EXIT.tripped;
  }
  process.stderr.write(`Internal error: ${describe(error)}\nThis is a fault of Spoolbench. The bench was left safe; please report it with the lines above.\n`);
  return EXIT.internal;
}

function describe(error: unknown): string {
  if (!(error instanceof Error)) return String(error);
  const cause = error.cause === undefined ? '' : `\ncaused by: ${describe(error.cause)}`;
  return `${error.stack ?? error.message}${cause}`;
}
