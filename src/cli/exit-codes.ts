// Exit codes of the command, all in one place.

export const EXIT = {
  done: 0,
  internal: 1,
  badInput: 2,
  stoppedByOperator: 3,
  tripped: 4,
  stopUnconfirmed: 5,
  someFailed: 6,
} as const;
export type ExitCode = (typeof EXIT)[keyof typeof EXIT];

/** Where several apply, the first of these wins: 5 > 1 > 4 > 3 > 6. Bad input (2) stops everything before it starts. */
const ORDER: readonly ExitCode[] = [EXIT.stopUnconfirmed, EXIT.internal, EXIT.tripped, EXIT.stoppedByOperator, EXIT.someFailed, EXIT.badInput, EXIT.done];

/** The exit code that stands for several results. */
export function worst(codes: readonly ExitCode[]): ExitCode {
  return ORDER.find((code) => codes.includes(code)) ?? EXIT.done;
}
