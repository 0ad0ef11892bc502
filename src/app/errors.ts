// Errors that a use case hands to a person.

/** The input cannot be used. Every problem at once, one line each; nothing was started. */
export class BadInput extends Error {
  override name = 'BadInput';
  constructor(readonly lines: readonly string[], options?: { cause?: unknown }) {
    super(lines.join('\n'), options);
  }
}

export { CannotRecord } from '../record/errors';
