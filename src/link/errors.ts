// What can go wrong between host and board, by name, each with what to do next.

export type LinkErrorCode =
  | 'NO_ANSWER'
  | 'WIRE_VERSION'
  | 'FOREIGN_BOARD'
  | 'NOT_AS_SIMULATED'
  | 'CHANNEL_MISMATCH'
  | 'TICK_MISMATCH'
  | 'TOO_MANY_LIMITS'
  | 'REFUSED'
  | 'CHECKSUM'
  | 'TRIPPED_BEFORE';

/** A named failure of the link: `message` says what happened, where, the numbers and what to do next. */
export class LinkError extends Error {
  override readonly name = 'LinkError';

  constructor(
    readonly code: LinkErrorCode,
    message: string,
    options?: { cause?: unknown },
  ) {
    super(message, options);
  }
}
