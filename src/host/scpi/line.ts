// The wire to an instrument: bytes both ways and one piece of bad news. TCP, a serial port, or memory in tests.
import { createConnection } from 'node:net';
import { SerialPort } from 'serialport';
import { errorCode } from '../files';
import { SupplyError } from './errors';

export interface LineListener {
  /** Bytes as they arrive, in pieces of any size. */
  onBytes(bytes: Uint8Array): void;
  /** The line is gone, for a reason that a person can read. Told at most once, and not after `close`. */
  onLost(reason: string): void;
}

/** An open line. It never opens again: a reconnect makes a new one, so that nothing written before reaches the next. */
export interface Line {
  /** For messages: `192.168.1.20:5025`. */
  readonly name: string;
  /** Hands the bytes to the system before it returns, where the system takes them. Never throws. */
  send(text: string): void;
  /** Sends what is waiting, then lets go. Resolves when the line is free; never rejects. */
  close(): Promise<void>;
}

export type OpenLine = (listener: LineListener) => Promise<Line>;

/** What is waiting at closing is given up after this long, ms. */
const CLOSING_MS = 500;

/** Over TCP. @param within_ms how long the connection may take */
export function tcpLine(host: string, port: number, within_ms = 3000): OpenLine {
  const name = `${host}:${port}`;
  return (listener) => new Promise((resolve, reject) => {
    const socket = createConnection({ host, port, noDelay: true });
    let open = false;
    let over = false;
    const refuse = (why: string, cause?: unknown): void => {
      if (over) return;
      over = true;
      socket.destroy();
      if (open) listener.onLost(why);
      else reject(new SupplyError('UNREACHABLE', `The supply at ${name} cannot be reached: ${why}. ${ADVICE_TCP}`, { cause }));
    };
    const limit = setTimeout(() => { refuse(`no connection within ${within_ms} ms`); }, within_ms);
    socket.on('connect', () => {
      if (over) return;
      open = true;
      clearTimeout(limit);
      resolve({
        name,
        send: (text) => { if (!over) socket.write(text, 'latin1'); },
        close: () => new Promise((closed) => {
          over = true;
          if (socket.destroyed) { closed(); return; }
          const giveUp = setTimeout(() => { socket.destroy(); }, CLOSING_MS);
          socket.once('close', () => { clearTimeout(giveUp); closed(); });
          socket.end();
        }),
      });
    });
    socket.on('data', (bytes: Buffer) => { if (!over) listener.onBytes(bytes); });
    socket.on('error', (error) => { clearTimeout(limit); refuse(REASONS[errorCode(error)] ?? error.message, error); });
    socket.on('close', () => { clearTimeout(limit); refuse('it closed the connection'); });
  });
}

/** Over a serial port: 8 bits, no parity, one stop bit. */
export function serialLine(path: string, baud: number): OpenLine {
  return (listener) => new Promise((resolve, reject) => {
    const port = new SerialPort({ path, baudRate: baud, autoOpen: false });
    let over = false;
    const lost = (why: string): void => {
      if (over) return;
      over = true;
      listener.onLost(why);
    };
    port.on('data', (bytes: Buffer) => { if (!over) listener.onBytes(bytes); });
    port.on('close', () => { lost('the port is gone: unplugged?'); });
    port.on('error', (error: Error) => { lost(error.message); });
    port.open((error) => {
      if (error !== null && error !== undefined) {
        over = true;
        reject(new SupplyError('UNREACHABLE', `The supply at ${path} cannot be reached: ${error.message}. ${ADVICE_SERIAL}`, { cause: error }));
        return;
      }
      resolve({
        name: path,
        send: (text) => { if (!over) port.write(text, 'latin1'); },
        close: () => new Promise((closed) => {
          if (over || !port.isOpen) { over = true; closed(); return; }
          over = true;
          const shut = (): void => { if (port.isOpen) port.close(() => { closed(); }); else closed(); };
          const giveUp = setTimeout(shut, CLOSING_MS);
          port.drain(() => { clearTimeout(giveUp); shut(); });
        }),
      });
    });
  });
}

const REASONS: Readonly<Record<string, string>> = {
  ECONNREFUSED: 'nothing listens there',
  ECONNRESET: 'it broke the connection off',
  EPIPE: 'it has closed the connection',
  ENOTFOUND: 'there is no such name in the network',
  EHOSTUNREACH: 'no way leads there',
  ENETUNREACH: 'no way leads there',
  ETIMEDOUT: 'it does not answer',
};
const ADVICE_TCP = 'Is it switched on, its network socket enabled, and supply.connection right? Many instruments serve one program at a time.';
const ADVICE_SERIAL = 'Is it plugged in and switched on, is the path right, may this user open it, and does no other program hold it?';
