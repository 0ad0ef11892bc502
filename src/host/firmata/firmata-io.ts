// A Firmata board greeted: johnny-five over firmata-io over a port of ours. Neither package opens a port, prints, or takes signals.
import { EventEmitter } from 'node:events';
import firmata, { type Firmata, type FirmataTransport } from 'firmata-io';
import five, { type Board } from 'johnny-five';
import type { BoardListener, BoardPort, OpenBoard } from '../board-port';
import { PortError } from '../port-error';
import { waitFor, type BoardTime } from './time';

/** A board with a loader starts its program about two seconds after the port was opened (common practice, no published source). */
const GREET_WITHIN_MS = 8000;
/** Asking earlier would speak to the loader. The firmware tells its version by itself when it starts. */
const ASK_AFTER_MS = 2500;
const ASK_EVERY_MS = 1000;
/** johnny-five prints and emits an error after a time of its own; ours comes first. */
const NEVER_MS = 0x7fffffff;

/** A greeted board. */
export interface FirmataLink {
  readonly io: Firmata;
  readonly board: Board;
  readonly port: BoardPort;
  /** When the latest byte came, µs. */
  readonly heard_us: () => number;
}

class Transport extends EventEmitter implements FirmataTransport {
  port: BoardPort | null = null;

  write(bytes: Buffer, done: () => void): void {
    this.port?.send(bytes);
    done();
  }
}

/**
 * Opens the port and greets the board. Rejects with a {@link PortError} when the port is refused, or nothing that speaks Firmata answers.
 * @param onLost told at most once, after this has resolved
 */
export async function openFirmata(openPort: OpenBoard, time: BoardTime, onLost: (reason: string) => void): Promise<FirmataLink> {
  const transport = new Transport();
  let heard_us = time.now_us();
  let bytes = 0;
  let lost: string | null = null;
  let greeted = false;
  const listener: BoardListener = {
    onBytes: (chunk) => {
      heard_us = time.now_us();
      bytes += chunk.length;
      transport.emit('data', chunk);
    },
    onLost: (reason) => {
      lost = reason;
      if (greeted) onLost(reason);
    },
  };
  const io = new firmata.Firmata(transport, { reportVersionTimeout: NEVER_MS });
  clearTimeout(io.reportVersionTimeoutId);
  const board = new five.Board({ io, repl: false, sigint: false, debug: false, timeout: NEVER_MS });
  const port = await openPort(listener);
  transport.port = port;
  transport.emit('open');
  const opened_us = time.now_us();
  let asked = 0;
  const waited = await waitFor(time, GREET_WITHIN_MS, () => {
    if (lost !== null || board.isReady) return true;
    const since_ms = (time.now_us() - opened_us) / 1000 - ASK_AFTER_MS;
    if (since_ms >= asked * ASK_EVERY_MS) {
      asked++;
      io.reportVersion(() => undefined);
      io.queryFirmware(() => undefined);
    }
    return false;
  });
  if (!waited || lost !== null || !board.isReady) {
    await port.close();
    throw new PortError('NO_FIRMATA', lost ?? silentText(port.name, bytes));
  }
  greeted = true;
  return { io, board, port, heard_us: () => heard_us };
}

function silentText(name: string, bytes: number): string {
  const waited = `${GREET_WITHIN_MS / 1000} s`;
  if (bytes === 0) return `${name}: the board is silent: no byte in ${waited}. Check its power and cable, and that this is its port.`;
  return `${name}: this board does not speak Firmata: ${bytes} bytes came in ${waited}, but no complete greeting. Check that this is the right port, that link.baud fits, and that StandardFirmata is on the board.`;
}
