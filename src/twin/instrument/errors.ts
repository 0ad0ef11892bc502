// Errors of the simulated instrument: numbers, texts and the bit that each class sets in the event status register
// (SCPI-1999 volume 2, chapter 21; IEEE 488.2, 11.5.1), and the queue that keeps them.

export const ERROR_TEXT = {
  '-102': 'Syntax error',
  '-103': 'Invalid separator',
  '-104': 'Data type error',
  '-108': 'Parameter not allowed',
  '-109': 'Missing parameter',
  '-112': 'Program mnemonic too long',
  '-113': 'Undefined header',
  '-131': 'Invalid suffix',
  '-221': 'Settings conflict',
  '-222': 'Data out of range',
  '-224': 'Illegal parameter value',
  '-310': 'System error',
  '-350': 'Queue overflow',
  '-363': 'Input buffer overrun',
} as const;
export type ErrorCode = keyof typeof ERROR_TEXT;

/** Thrown inside the interpreter, ends up in the queue. */
export class InstrumentError extends Error {
  constructor(readonly code: ErrorCode, readonly detail = '') {
    super(ERROR_TEXT[code]);
  }
}

/** Bits of the standard event status register. */
export const EVENT = { operationComplete: 1, query: 4, device: 8, execution: 16, command: 32, powerOn: 128 } as const;

export function eventBit(code: ErrorCode): number {
  const n = -Number(code);
  if (n < 200) return EVENT.command;
  if (n < 300) return EVENT.execution;
  return n < 400 ? EVENT.device : EVENT.query;
}

/** First in, first out; when it is full, the newest entry gives way to -350 and everything later is lost. */
export class ErrorQueue {
  private readonly entries: string[] = [];

  constructor(private readonly size: number) {}

  get length(): number {
    return this.entries.length;
  }

  push(code: ErrorCode, detail: string): void {
    if (this.entries.length < this.size) this.entries.push(entry(code, detail));
    else this.entries[this.size - 1] = entry('-350', '');
  }

  /** The oldest entry, taken out; `0,"No error"` when there is none. */
  take(): string {
    return this.entries.shift() ?? '0,"No error"';
  }

  clear(): void {
    this.entries.length = 0;
  }
}

function entry(code: ErrorCode, detail: string): string {
  return `${code},"${ERROR_TEXT[code]}${detail === '' ? '' : `;${detail.replaceAll('"', '""')}`}"`;
}
