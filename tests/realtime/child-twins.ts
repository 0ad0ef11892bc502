// Child of the guard tests: simulated boards on ports, in real time, in a process of their own. One message in for each order,
// one out for each happening.
import { prepareCampaign } from '../../src/app/prepare';
import { TwinServer, type TwinHappening } from '../../src/app/twin-serve';
import { sharedClock_us } from '../../src/host/guard/shared-clock';
import { pace } from '../../src/host/pace';
import { askForPriority } from '../../src/host/priority';
import { openSerialPort } from '../../src/host/serial-port';

export type ToTwins =
  | { readonly order: 'serve'; readonly port: string; readonly bench: string; readonly target: string; readonly seed: number }
  | { readonly order: 'hands'; readonly port: string; readonly line: string };
/** `at_us`: the clock that all processes share. */
export type FromTwins =
  | { readonly said: 'served' | 'failed' | 'hands'; readonly port: string; readonly text: string }
  | { readonly said: 'happened'; readonly port: string; readonly at_us: number; readonly happening: TwinHappening };

const servers = new Map<string, TwinServer>();
const say = (message: FromTwins): void => { process.send?.(message, () => undefined); };

async function serve({ port, bench, target, seed }: Extract<ToTwins, { order: 'serve' }>): Promise<void> {
  const { rig, article } = prepareCampaign(target, { bench });
  const server = new TwinServer({
    rig, article, twin: 'scout', seed, now_us: sharedClock_us,
    open: (listener) => openSerialPort({ port, usb: null, baud: 921_600, keep_bytes: 100_000 }, listener),
    tell: (happening) => { say({ said: 'happened', port, at_us: sharedClock_us(), happening }); },
  });
  servers.set(port, server);
  await server.start();
  pace(1, () => { server.step(); });
  say({ said: 'served', port, text: '' });
}

process.on('message', (message) => {
  const order = message as ToTwins;
  if (order.order === 'serve') serve(order).catch((error: unknown) => { say({ said: 'failed', port: order.port, text: String(error) }); });
  else say({ said: 'hands', port: order.port, text: servers.get(order.port)?.hands(order.line) ?? 'no such port' });
});
process.on('disconnect', () => process.exit(0));
askForPriority();
