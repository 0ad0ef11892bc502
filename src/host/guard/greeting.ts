// Words about a board that is greeted, and how long it may take to start up.
import type { LinkHealth } from '../../model/events';

/** A board that was reset by the opening of its port (a loader waits for two seconds on many) has answered by then, µs. */
export const GREETING_US = 4_000_000;

const RESETS = ['a cause it does not know', 'power-on', 'its reset pin', 'its watchdog', 'its own software', 'a dip of its supply'];

/** Why a board last started, in words. */
export function resetText(cause: number): string {
  return RESETS[cause] ?? `cause ${cause}`;
}

/** What is known of a board that did not answer: nothing at all, something else, or frames without an answer. */
export function silentBoardText(port: string, bytes: number, health: LinkHealth): string {
  const waited = `${GREETING_US / 1e6} s`;
  if (bytes === 0) return `${port}: the board is silent: no byte in ${waited}. Check its power and cable, and that this is its port.`;
  if (health.frames === 0) {
    return `${port}: this is no board of ours: ${bytes} bytes came in ${waited}, none of them a frame of our wire. Check that this is the right port, that link.baud fits the board, and that its firmware speaks our wire.`;
  }
  return `${port}: the board sends frames (${health.frames} whole, ${health.bad_frames} damaged) but does not answer. Check the line from this computer to the board.`;
}
