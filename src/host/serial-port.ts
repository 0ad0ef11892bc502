// A serial port as a board port. Reading and writing go straight to the descriptor: the shortest way for an abort, and a port
// that has gone is seen by its first empty read. The descriptor and its poller belong to the binding of `serialport`; this is
// the only file that touches them.
import { readSync, statSync, writeSync } from 'node:fs';
import { SerialPort } from 'serialport';
import type { BoardListener, BoardPort } from './board-port';
import { errorCode } from './files';
import { PortError } from './port-error';
import { described, listPorts, messageOf, pathOf, type ListedPort, type SerialPlace } from './serial-list';

export interface SerialSpec extends SerialPlace {
  /** Symbols per second. */
  readonly baud: number;
  /**
   * Bytes kept while the port takes none. 0 (a host): what waits is the rest of a frame that is half sent, and the newest frame;
   * commands are sent again anyway, and an old permit must never follow a newer stop. A simulated board keeps all, up to so many.
   */
  readonly keep_bytes?: number;
}

/** What is used of a port that the binding has opened. */
export interface RawPort {
  fd: number | null;
  readonly poller: { once(event: 'readable' | 'writable', callback: (error: Error | null) => void): unknown };
  flush(): Promise<void>;
  close(): Promise<void>;
}

const READ_BYTES = 16_384;
const { binding } = SerialPort as unknown as { binding: { open(options: { path: string; baudRate: number; lock: boolean }): Promise<RawPort> } };

/** Opens the port. Rejects with a {@link PortError} that says what to do. Opening resets many boards: nothing they said before a handshake counts. */
export async function openSerialPort(spec: SerialSpec, listener: BoardListener, list: () => Promise<readonly ListedPort[]> = listPorts): Promise<BoardPort> {
  const path = await pathOf(spec, list);
  await checkPath(path, list);
  let raw: RawPort;
  try {
    // On Windows the binding has no descriptor of this kind; nothing there has been tried.
    raw = await binding.open({ path, baudRate: spec.baud, lock: true });
  } catch (cause) {
    throw refused(path, cause);
  }
  if (typeof raw.fd !== 'number' || raw.poller === undefined) {
    await raw.close();
    throw new PortError('REFUSED', `${path}: ports of this operating system cannot be driven (Linux and macOS can).`);
  }
  // Bytes from before this connection belong to nobody.
  await raw.flush().catch(() => undefined);
  return new SerialBoard(path, raw, listener, spec.keep_bytes ?? 0);
}

async function checkPath(path: string, list: () => Promise<readonly ListedPort[]>): Promise<void> {
  try {
    if (!statSync(path).isCharacterDevice()) throw new PortError('NOT_A_PORT', `${path}: this is no port. Correct link.port in the rig file.`);
  } catch (cause) {
    if (cause instanceof PortError) throw cause;
    if (errorCode(cause) !== 'ENOENT') throw refused(path, cause);
    const ports = await list().then(described, () => 'unknown');
    throw new PortError('MISSING', `${path}: there is no such port. Ports here: ${ports}. Plug the board in, or correct link.port in the rig file.`, { cause });
  }
}

/** The binding tells its errors in English only. */
function refused(path: string, cause: unknown): PortError {
  const text = messageOf(cause);
  if (/lock port|busy/i.test(text)) return new PortError('BUSY', `${path}: another program has this port. Close it (\`fuser ${path}\` names it), then start again.`, { cause });
  if (/permission denied/i.test(text)) {
    return new PortError('PERMISSION', `${path}: this user may not open it. On Linux ports usually belong to the group dialout: sudo usermod -aG dialout $USER, then log in anew.`, { cause });
  }
  if (/no such (file|device)/i.test(text)) return new PortError('MISSING', `${path}: there is no such port (${text}). Plug the board in.`, { cause });
  return new PortError('REFUSED', `${path}: the port cannot be opened (${text}).`, { cause });
}

/** An open port. Exported for tests, which pass descriptors of their own. */
export class SerialBoard implements BoardPort {
  private readonly buffer = Buffer.alloc(READ_BYTES);
  /** Bytes that the port would not take yet: of a frame half sent, and what comes after it. */
  private rest: Uint8Array | null = null;
  private waiting: Uint8Array[] = [];
  private waitingBytes = 0;
  private over = false;
  private closing: Promise<void> | null = null;

  constructor(readonly name: string, private readonly raw: RawPort, private readonly listener: BoardListener, private readonly keep_bytes: number) {
    this.listen();
  }

  send(bytes: Uint8Array): void {
    if (this.over || bytes.length === 0) return;
    if (this.rest !== null) {
      this.enqueue(bytes);
      return;
    }
    const written = this.write(bytes);
    if (written < 0 || written === bytes.length) return;
    this.rest = bytes.slice(written);
    this.awaitRoom();
  }

  close(): Promise<void> {
    this.over = true;
    this.closing ??= this.letGo();
    return this.closing;
  }

  private async letGo(): Promise<void> {
    this.rest = null;
    this.waiting = [];
    // What the driver still holds must not come out later; a port that is gone refuses, which is as good.
    await this.raw.flush().catch(() => undefined);
    await this.raw.close().catch(() => undefined);
  }

  // ---- in ---------------------------------------------------------------------------------------------------------

  private listen(): void {
    this.raw.poller.once('readable', this.readable);
  }

  private readonly readable = (error: Error | null): void => {
    if (this.over) return;
    if (error !== null) {
      this.lose(`it failed (${messageOf(error)})`);
      return;
    }
    for (let more = true; more; ) {
      const got = this.read();
      if (got < 0 || this.over) return;
      if (got > 0) this.listener.onBytes(this.buffer.subarray(0, got));
      more = got === READ_BYTES;
      if (this.isOver()) return;
    }
    this.listen();
  };

  /** The listener may have closed the port. */
  private isOver(): boolean {
    return this.over;
  }

  /** Bytes read; 0 when none wait; -1 when the port is gone. */
  private read(): number {
    try {
      const got = readSync(this.raw.fd ?? -1, this.buffer, 0, READ_BYTES, null);
      if (got > 0) return got;
      this.lose('it was closed from the other side');
      return -1;
    } catch (error) {
      const code = errorCode(error);
      if (code === 'EAGAIN' || code === 'EINTR') return 0;
      this.lose(code === 'EIO' || code === 'ENXIO' || code === 'ENODEV' ? `it is gone (${code})` : `it cannot be read (${messageOf(error)})`);
      return -1;
    }
  }

  // ---- out --------------------------------------------------------------------------------------------------------

  /** Bytes that the port took; -1 when it is gone. */
  private write(bytes: Uint8Array): number {
    try {
      return writeSync(this.raw.fd ?? -1, bytes, 0, bytes.length);
    } catch (error) {
      const code = errorCode(error);
      if (code === 'EAGAIN' || code === 'EINTR') return 0;
      this.lose(`it cannot be written (${messageOf(error)})`);
      return -1;
    }
  }

  private enqueue(bytes: Uint8Array): void {
    if (this.keep_bytes === 0) {
      this.waiting = [bytes.slice()];
      this.waitingBytes = bytes.length;
      return;
    }
    if (this.waitingBytes + bytes.length > this.keep_bytes) return;
    this.waiting.push(bytes.slice());
    this.waitingBytes += bytes.length;
  }

  private awaitRoom(): void {
    this.raw.poller.once('writable', (error) => {
      if (this.over) return;
      if (error !== null) {
        this.lose(`it failed (${messageOf(error)})`);
        return;
      }
      while (this.rest !== null) {
        const written = this.write(this.rest);
        if (written < 0) return;
        if (written < this.rest.length) {
          this.rest = this.rest.subarray(written);
          this.awaitRoom();
          return;
        }
        this.rest = this.waiting.shift() ?? null;
        this.waitingBytes -= this.rest?.length ?? 0;
      }
    });
  }

  private lose(how: string): void {
    if (this.over) return;
    void this.close();
    this.listener.onLost(`The port ${this.name} is lost: ${how}.`);
  }
}
