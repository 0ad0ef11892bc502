// The ways in which a record can refuse.

/** The run cannot be written down any more (disk full, file gone), or the file could not be created at all. */
export class CannotRecord extends Error {
  override readonly name = 'CannotRecord';
  constructor(
    message: string,
    /** Operating system's code, e.g. `ENOSPC` or `EEXIST`; empty when there is none. */
    readonly code: string,
    options?: ErrorOptions,
  ) {
    super(message, options);
  }
}

/** The bytes are not a record of this program; a record that was merely cut off is never refused this way. */
export class NotARecord extends Error {
  override readonly name = 'NotARecord';
}

/** A header that cannot be written or does not hold what a header must. */
export class BadHeader extends Error {
  override readonly name = 'BadHeader';
}
