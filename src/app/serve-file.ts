// `twin serve`: loads a bench, opens the port, plays the simulated rig until somebody stops it.
import { pace } from '../host/pace';
import { askForPriority } from '../host/priority';
import { openSerialPort } from '../host/serial-port';
import { PortError } from '../host/port-error';
import { onStopSignal } from '../host/signals';
import { linesIn } from '../host/lines-in';
import { sharedClock_us } from '../host/guard/shared-clock';
import { FileProblem, join, workingFolder } from '../host/files';
import { serveTcp, type Conversation, type Served } from '../host/tcp-server';
import { benchFolderOf, loadBench, refuse } from './bench-folder';
import { BadInput } from './errors';
import { twinInstrument } from './twin-supply';
import { checkServed, TwinServer, type TwinHappening } from './twin-serve';

export interface ServeOptions {
  readonly port: string;
  /** Bench folder; found from the working folder when left out. */
  readonly bench?: string;
  /** Rig file, when it is not rig.yaml of the bench. */
  readonly rig?: string;
  /** Simulated bench to stand behind the port; that of the rig file, else `scout`. */
  readonly twin?: string;
  readonly seed?: number;
  /** Symbols per second; a pseudo-terminal does not care. */
  readonly baud?: number;
  readonly tell: (happening: TwinHappening) => void;
  /** Serve the simulated supply too, as an instrument over TCP on this port (0 takes a free one); it is off to begin with. */
  readonly supplyPort?: number;
  /** Lines that somebody types are what hands do at the bench. */
  readonly hands: boolean;
}

const STEP_MS = 1;
/** Bytes kept while nobody reads: about a second of the fastest rows. */
const KEEP_BYTES = 300_000;
const USUAL_TWIN = 'scout';

/**
 * Plays the simulated rig behind the port until a signal comes (or `until` resolves).
 * @throws BadInput with every problem of the files, or what is wrong with the port
 */
export async function serveTwin(options: ServeOptions, until?: Promise<void>): Promise<void> {
  const folder = options.bench ?? benchFolderOf(workingFolder());
  const bench = loadBench(folder, [], options.rig ?? join(folder, 'rig.yaml'));
  refuse(bench.problems);
  const rig = bench.rig.value;
  const article = bench.article.value;
  if (rig === null || article === null) throw new BadInput([`${folder}: rig and article are needed`]);
  const twin = options.twin ?? (rig.link.kind === 'twin' ? rig.link.twin : USUAL_TWIN);
  const seed = options.seed ?? (rig.link.kind === 'twin' ? rig.link.seed : 1);
  checkServed(rig, article, twin, seed);
  const baud = options.baud ?? (rig.link.kind === 'twin' ? 921_600 : rig.link.baud);
  const server = new TwinServer({
    rig, article, twin, seed, now_us: sharedClock_us, tell: options.tell,
    open: (listener) => openSerialPort({ port: options.port, usb: null, baud, keep_bytes: KEEP_BYTES }, listener),
  });
  try {
    await server.start();
  } catch (error) {
    if (!(error instanceof PortError)) throw error;
    throw new BadInput([portAdvice(error, options.port)], { cause: error });
  }
  const supply = options.supplyPort === undefined ? null : await supplyOn(options.supplyPort, server).catch(async (error: unknown) => {
    await server.close();
    throw error;
  });
  askForPriority();
  const stopPace = pace(STEP_MS, () => { server.step(); });
  const stopLines = options.hands ? linesIn((line) => { server.hands(line); }) : () => undefined;
  let unlisten: () => void = () => undefined;
  const signal = new Promise<void>((resolve) => { unlisten = onStopSignal(() => { resolve(); }); });
  await Promise.race([signal, ...(until === undefined ? [] : [until])]);
  unlisten();
  stopLines();
  stopPace();
  await supply?.close();
  await server.close();
}

/** The simulated supply on the network of this computer, behind the rules of a programmable instrument. @throws BadInput */
async function supplyOn(port: number, server: TwinServer): Promise<Served> {
  const instrument = twinInstrument(server.sim);
  let before = instrument.state;
  const conversation: Conversation = {
    receive: (bytes) => {
      const answer = instrument.receive(bytes);
      const now = instrument.state;
      if (now.output !== before.output || (now.output && now.voltage_V !== before.voltage_V)) server.supplyChanged(now.output, now.voltage_V);
      before = now;
      return answer;
    },
  };
  try {
    const served = await serveTcp(conversation, port);
    server.tellPort(`The simulated supply is on TCP port ${served.port}, its output off.`);
    return served;
  } catch (error) {
    if (!(error instanceof FileProblem)) throw error;
    throw new BadInput([error.message], { cause: error });
  }
}

/** A port that is not there is, here, mostly a pair of pseudo-terminals that nobody has made. */
function portAdvice(error: PortError, port: string): string {
  if (error.code !== 'MISSING') return error.message;
  return `${port}: there is no such port. A pair of pseudo-terminals does for a cable (Debian: apt install socat):\n  socat pty,raw,echo=0,link=${port} pty,raw,echo=0,link=${port}.board\nThen serve on ${port}.board, and name ${port} in the rig file.`;
}

