// What a calibration reads: the simulated rig with its simulated reference, or a real one through its world.
import type { ChannelFact, ChannelKind } from '../../model/channel';
import type { Article, Rig } from '../../model/files';
import type { ReferenceBench} from '../../twin/reference-bench';
import { type CountsReading } from '../../twin/reference-bench';
import { BadInput } from '../errors';
import { openWorld } from '../open-world';
import type { World } from '../world';

export interface CalibrationRig {
  /** Mean counts of a channel over some time. @throws BadInput when it stays silent */
  read(kind: ChannelKind, for_s: number): Promise<CountsReading>;
  close(): Promise<void>;
}

/** A reading takes at least so many fresh samples before it counts. */
const LEAST_READINGS = 4;

/** The real rig: counts as its board sends them, through the same station as a run. Nothing is armed. */
export async function worldRig(rig: Rig, article: Article, channels: readonly ChannelFact[], note: (text: string) => void): Promise<CalibrationRig> {
  const world = openWorld({ rig, article, channels, note });
  await world.connect();
  return {
    read: (kind, for_s) => readCounts(world, channels, kind, for_s),
    close: async () => {
      await world.outputOff();
      world.close();
    },
  };
}

/** Mean counts of the fresh, valid samples of a channel. @throws BadInput when there are too few */
export async function readCounts(world: World, channels: readonly ChannelFact[], kind: ChannelKind, for_s: number): Promise<CountsReading> {
  const channel = channels.find((c) => c.kind === kind);
  if (channel === undefined) throw new BadInput([`channels.${kind}: the rig has no such channel`]);
  const bit = 1 << channel.id;
  const counts: number[] = [];
  const listening = world.blocks.subscribe((block) => {
    for (let i = 0; i < block.rows; i++) if ((block.fresh[i] & block.valid[i] & bit) !== 0) counts.push(block.counts[channel.id][i]);
  });
  try {
    await world.playUntil(() => false, for_s);
    // A bench at rest sends few rows: some more time, then it is silent.
    await world.playUntil(() => counts.length >= LEAST_READINGS, 10);
  } finally {
    listening.unsubscribe();
  }
  if (counts.length < LEAST_READINGS) throw new BadInput([`channels.${kind}: ${counts.length} valid readings in ${for_s + 10} s; look at the sensor and its wiring`]);
  const n = counts.length;
  const mean = counts.reduce((a, b) => a + b, 0) / n;
  return { mean, n, sd: Math.sqrt(counts.reduce((s, c) => s + (c - mean) ** 2, 0) / (n - 1)) };
}

/** The simulated rig. */
export function simulatedRig(bench: ReferenceBench): CalibrationRig {
  return {
    read: (kind, for_s) => {
      if (kind === 'torque') throw new BadInput(['channels.torque: the simulated rig has no torque sensor']);
      return Promise.resolve(bench.read(kind, for_s));
    },
    close: () => Promise.resolve(),
  };
}
