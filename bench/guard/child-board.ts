// Child of bench/guard.ts: a simulated board that sends 8000 rows of 32 bytes a second, slips an over-limit sample in when told,
// and times the answer.
import { prepareCampaign } from '../../src/app/prepare';
import { asTwin } from '../../src/app/twin-serve';
import { sharedClock_us } from '../../src/host/guard/shared-clock';
import { pace } from '../../src/host/pace';
import { askForPriority, askForRealTime } from '../../src/host/priority';
import { openSerialPort } from '../../src/host/serial-port';
import { encodeFrame, FrameDecoder } from '../../src/link/codec';
import { commandPayload } from '../../src/link/commands';
import { TwinBoard } from '../../src/twin/board';
import { physicalChannels, twinParameters } from '../../src/twin/configure';
import { SimulatedRig } from '../../src/twin/physics';
import { ROW_FRESH, ROW_VALUES } from '../../src/wire/layout';
import { CMD_TRIP, MSG_ROW } from '../../src/wire/messages';

const [port, bench, over] = process.argv.slice(2);
const { rig: written, article } = prepareCampaign('response', { bench });
const rig = asTwin(written, 'scout', 1);
const sim = new SimulatedRig(twinParameters(rig, article), { seed: 1 });
const board = new TwinBoard(sim, rig, physicalChannels(rig), 1);
let injected_us: number | null = null;
let wanted = false;
let rows = 0;
let bytes = 0;

const answers = new FrameDecoder((payload) => {
  if (payload[0] !== CMD_TRIP || injected_us === null) return;
  process.send?.({ latency_us: sharedClock_us() - injected_us });
  injected_us = null;
});
const line = await openSerialPort({ port, usb: null, baud: 921_600, keep_bytes: 1_000_000 }, {
  onBytes: (got) => { answers.push(got); board.receive(got); }, onLost: () => process.exit(1),
});
/** Everything as it is but for the last row, whose current becomes what no limit allows. */
const outgoing = new FrameDecoder((buffer, length) => {
  const payload = buffer.slice(0, length);
  if (payload[0] === MSG_ROW) rows++;
  if (wanted && payload[0] === MSG_ROW && (payload[ROW_FRESH] & 1) !== 0) {
    wanted = false;
    new DataView(payload.buffer).setInt32(ROW_VALUES, Number(over), true);
    pieces.push(encodeFrame(payload));
    withOver = true;
  } else pieces.push(encodeFrame(payload));
});
let pieces: Uint8Array[] = [];
let withOver = false;

process.on('message', (message) => {
  const { order } = message as { order: 'inject' | 'rows' | 'counts' };
  if (order === 'inject') wanted = true;
  else if (order === 'rows') board.receive(encodeFrame(commandPayload({ name: 'set-telemetry', divider: 1 }, 77)));
  else process.send?.({ rows, bytes });
});
process.on('disconnect', () => process.exit(0));
if (!askForRealTime(process.pid, 2)) askForPriority();
const zero_us = sharedClock_us();
pace(1, () => {
  board.advanceTo(sharedClock_us() - zero_us);
  outgoing.push(board.take());
  if (pieces.length === 0) return;
  const all = Buffer.concat(pieces);
  pieces = [];
  bytes += all.length;
  if (withOver) {
    withOver = false;
    injected_us = sharedClock_us();
  }
  line.send(all);
});
process.send?.({ ready: true });
