// Which world a rig is in: the simulated one, or a board behind the guard process. The one place that picks.
import { breathe } from '../host/event-loop';
import { steady_ms } from '../host/wall-clock';
import type { ChannelFact } from '../model/channel';
import type { Article, Rig } from '../model/files';
import { GuardWorld } from './guard-world';
import type { SupplyPort } from './supply-port';
import { TwinWorld } from './twin-world';
import type { World } from './world';

export interface WorldInput {
  readonly rig: Rig;
  readonly article: Article;
  readonly channels: readonly ChannelFact[];
  /** The supply, where a program sets it and the rig does not do so itself. */
  readonly supply?: SupplyPort | null;
  /** News about the board, for a person. */
  readonly note?: (text: string) => void;
}

/** A world for the rig, not connected yet. */
export function openWorld({ rig, article, channels, supply, note }: WorldInput): World {
  if (rig.link.kind === 'twin') return new TwinWorld({ rig, article, channels, breathe, now_ms: steady_ms });
  return new GuardWorld({ rig, article, channels, supply: supply ?? null, ...(note === undefined ? {} : { note }) });
}
