// An emulated Firmata board with its drive, in real time behind a port. Arguments: the port, the bench folder.
import { prepareCampaign } from '../../src/app/prepare';
import { askForPriority } from '../../src/host/priority';
import { openSerialPort } from '../../src/host/serial-port';
import { DriveEnd } from '../emulation/drive-end';
import { boardImage } from '../emulation/image';
import { Lockstep } from '../emulation/lockstep';

/** Behind by more, the emulated time is let go, ms. */
const LAG_MOST_MS = 100;

const [port, folder] = process.argv.slice(2);
// A real board does not wait for other programs.
askForPriority(process.pid);
const image = boardImage();
if (!('flash' in image)) throw new Error(image.missing);
const { rig, article } = prepareCampaign('thrust-curve', { bench: folder });
const lock = new Lockstep(image.flash);
new DriveEnd(lock, rig, article);

const uno = await lock.openPort({ onBytes: (bytes) => line.send(bytes), onLost: () => undefined });
const line = await openSerialPort({ port, usb: null, baud: 57_600, keep_bytes: 65_536 }, { onBytes: (bytes) => uno.send(bytes), onLost: () => process.exit(0) });
process.on('disconnect', () => process.exit(0));

let origin_ms = performance.now();
function play(): void {
  const due_ms = performance.now() - origin_ms - lock.now_us / 1000;
  if (due_ms > LAG_MOST_MS) origin_ms += due_ms - LAG_MOST_MS;
  for (let i = 0; i < Math.min(due_ms, 10); i++) lock.step();
  setImmediate(play);
}
play();
process.send?.('ready');
