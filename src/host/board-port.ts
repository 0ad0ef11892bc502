// A board as whoever owns it sees it: bytes both ways and one piece of bad news. A serial port is one; a Firmata board with
// the controller core on this computer is another; tests use a third in memory.

/** What comes from a board. Nothing is told any more once `onLost` has been told. */
export interface BoardListener {
  /** Bytes as they arrive, in pieces of any size. The view is valid during the call only. */
  onBytes(bytes: Uint8Array): void;
  /** The port is gone: unplugged, failed or closed by the other side. Told once; `reason` is a sentence for a person. */
  onLost(reason: string): void;
}

/** An open board. It never opens again: a reconnect makes a new one, so that nothing written before reaches the next. */
export interface BoardPort {
  /** What it is, for messages: `/dev/ttyACM0`, `simulated board`. */
  readonly name: string;
  /** Hands the bytes on before it returns (one synchronous write where the port has one). Never throws: a failure is told through `onLost`. */
  send(bytes: Uint8Array): void;
  /** Lets go of the port. Resolves when it is free for somebody else; never rejects, however often it is called. */
  close(): Promise<void>;
}

/** Opens a board. Rejects with an error that says what to do when the port is missing, busy or refuses. */
export type OpenBoard = (listener: BoardListener) => Promise<BoardPort>;
