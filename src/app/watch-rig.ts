// `rig watch`: live readings and the health of the link, while nothing is armed.
import { pause } from '../host/pace';
import { onStopSignal } from '../host/signals';
import { channelFacts } from '../model/channel-facts';
import type { LinkHealth } from '../model/events';
import type { ChannelFact } from '../model/channel';
import { isSimulated } from '../model/simulated';
import { BadInput } from './errors';
import { benchFolderOf, loadBench, refuse } from './bench-folder';
import { dirname, isFolder, join } from '../host/files';
import { steady_ms } from '../host/wall-clock';
import { liveReading } from './live';
import { openWorld } from './open-world';
import type { LiveReading } from './reporter';

export interface WatchOptions {
  /** How long, s; until Ctrl-C when left out. */
  readonly for_s?: number;
  /** Time between two looks, s. */
  readonly every_s: number;
  readonly look: (look: WatchLook) => void;
  readonly note: (text: string) => void;
}

/** One look at the bench. */
export interface WatchLook {
  readonly rig: string;
  readonly simulated: boolean;
  /** Device time, s. */
  readonly t_s: number;
  /** Latest readings by channel; null while nothing has come since the last look. */
  readonly reading: LiveReading | null;
  readonly channels: readonly ChannelFact[];
  /** Rows since the last look, and how much device time they span, s. */
  readonly rows: number;
  /** Frames so far; null where there is no line. */
  readonly health: LinkHealth | null;
  /** Why the motor might not be driven now. */
  readonly blocks: readonly string[];
}

/**
 * Watches the bench of a rig file or a bench folder. Nothing is armed. Real time, also on the simulated rig.
 * @throws BadInput when the files have problems or the board does not answer
 */
export async function watchRig(target: string, options: WatchOptions): Promise<void> {
  const folder = isFolder(target) ? target : benchFolderOf(target);
  const bench = loadBench(folder, [], isFolder(target) ? join(folder, 'rig.yaml') : target);
  refuse(bench.problems);
  const rig = bench.rig.value;
  const article = bench.article.value;
  if (rig === null || article === null) throw new BadInput([`${dirname(target)}: rig and article are needed`]);
  const channels = channelFacts(rig, bench.calibrations.flatMap((c) => c.value ?? []));
  const world = openWorld({ rig, article, channels, note: options.note });
  let last: LiveReading | null = null;
  let rows = 0;
  const stopping = new AbortController();
  const unlisten = onStopSignal(() => { stopping.abort(); });
  const listening = world.blocks.subscribe((block) => {
    last = liveReading(block, channels);
    rows += block.rows;
  });
  try {
    await world.connect();
    const began_ms = steady_ms();
    while (!stopping.signal.aborted) {
      const from_ms = steady_ms();
      await world.playUntil(() => {
        world.bench.beat();
        return stopping.signal.aborted;
      }, options.every_s);
      options.look({
        rig: rig.name, simulated: isSimulated(rig), t_s: world.clock.now_us() / 1e6, reading: last, channels, rows,
        health: world.health?.() ?? null, blocks: world.bench.permit().reasons,
      });
      last = null;
      rows = 0;
      if (options.for_s !== undefined && steady_ms() - began_ms >= options.for_s * 1000) break;
      // Bench time of the simulated rig costs next to nothing; a person looks at it in real time all the same.
      await pause(Math.max(0, options.every_s * 1000 - (steady_ms() - from_ms)), stopping.signal);
    }
  } finally {
    listening.unsubscribe();
    unlisten();
    world.close();
  }
}
