// The guard as a process: the main process forks it, it owns the port. It does nothing but what guard.ts says: no reports, no
// compression, no files.
import type { RigLink } from '../../model/files/rig';
import type { OpenBoard } from '../board-port';
import { PortError } from '../port-error';
import { askForPriority, askForRealTime, askForSessionPriority } from '../priority';
import { openFirmataBoard } from '../firmata/firmata-board';
import type { BoardTime } from '../firmata/time';
import { openSerialPort } from '../serial-port';
import { Guard } from './guard';
import type { FromGuard, StationSetup, ToGuard } from './messages';
import { sharedClock_us } from './shared-clock';

/** The station looks at the time so often: silence of the board is told from rest by it. */
const TICK_MS = 5;
/** Orders to a Firmata board only make sense all together and in their order; the line carries them in a fraction of a second. */
const FIRMATA_KEEP_BYTES = 4096;

/** How long the kernel is made way for after an abort, ms: its own threads carry the bytes, and may wait for this processor. */
const WAY_MS = 0.1;
const nobody = new Int32Array(new SharedArrayBuffer(4));

const REAL_TIME: BoardTime = {
  now_us: sharedClock_us,
  every: (ms, then) => {
    const timer = setInterval(then, ms);
    return () => clearInterval(timer);
  },
};

function openBoard(link: RigLink, setup: StationSetup): OpenBoard {
  switch (link.kind) {
    case 'serial': return (listener) => openSerialPort(link, listener);
    case 'firmata': return openFirmataBoard(setup.rig, { time: REAL_TIME, openPort: (listener) => openSerialPort({ ...link, keep_bytes: FIRMATA_KEEP_BYTES }, listener) });
    case 'twin': throw new PortError('REFUSED', `A link of kind ${link.kind} has no guard process.`);
  }
}

function post(message: FromGuard): void {
  // A main process that has gone hears nothing; `disconnect` says so.
  if (process.connected) process.send?.(message, undefined, undefined, () => undefined);
}

const guard = new Guard({ openBoard, post, now_us: sharedClock_us, left: () => process.exit(0), makeWay: () => { Atomics.wait(nobody, 0, 0, WAY_MS); } });
process.on('message', (message) => guard.take(message as ToGuard));
process.on('disconnect', () => guard.leave('The main process is gone.'));
for (const signal of ['SIGINT', 'SIGTERM', 'SIGHUP'] as const) process.on(signal, () => guard.leave(`The guard was told to end (${signal}).`));
// A fault here must not leave a motor turning: it is stopped, then this process ends; the board's own deadman comes after it.
process.on('uncaughtException', (error) => {
  process.stderr.write(`The guard process failed: ${error.stack ?? error.message}\n`);
  guard.leave('The guard process failed.');
});
askForPriority();
askForSessionPriority();
askForRealTime();
setInterval(() => guard.tick(), TICK_MS);
post({ type: 'ready' });
