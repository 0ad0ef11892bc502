// What a command module gives to the parser.
import type { Argv } from 'yargs';
import type { ExitCode } from './exit-codes';

export interface CommandModule {
  /** Adds the command to the parser; `done` takes its exit code. */
  register(parser: Argv, done: (code: ExitCode) => void): void;
}
