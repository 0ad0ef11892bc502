// What can go wrong with a port before a board has said a word, by name, each with what to do next.

export type PortErrorCode = 'MISSING' | 'BUSY' | 'PERMISSION' | 'NOT_A_PORT' | 'AMBIGUOUS' | 'NOT_NAMED' | 'CANNOT_LIST' | 'REFUSED' | 'NO_FIRMATA' | 'NO_PIN' | 'NO_PART';

/** A named failure of a port: `message` says which port, what happened and what to do next. */
export class PortError extends Error {
  override readonly name = 'PortError';

  constructor(
    readonly code: PortErrorCode,
    message: string,
    options?: { cause?: unknown },
  ) {
    super(message, options);
  }
}
