// Which world a rig is in: the simulated one, or a board behind the guard process. The one place that picks.
import { breathe } from '../host/event-loop';
import { steady_ms } from '../host/wall-clock';
import type { ChannelFact } from '../model/channel';
import type { Article, Rig } from '../model/files';
import type { RigLimits } from '../model/files/rig';
import type { Instrument } from '../twin/instrument/instrument';
import { openSupply } from './bench-supply';
import { GuardWorld } from './guard-world';
import { SuppliedWorld } from './supplied-world';
import type { SupplyPort } from './supply-port';
import { twinInstrument } from './twin-supply';
import { TwinWorld } from './twin-world';
import type { World } from './world';

export interface WorldInput {
  readonly rig: Rig;
  readonly article: Article;
  readonly channels: readonly ChannelFact[];
  /** The supply, where a program sets it and the rig does not do so itself. */
  readonly supply?: SupplyPort | null;
  /** Limits of one layer that differ from the rig file's, to prove the other layer alone. */
  readonly layers?: { readonly station?: RigLimits; readonly board?: RigLimits };
  /** News about the board, for a person. */
  readonly note?: (text: string) => void;
}

/** A world for the rig, not connected yet. */
export function openWorld(input: WorldInput): World {
  const { rig, article, channels, supply, note, layers } = input;
  const more = { ...(layers === undefined ? {} : { layers }), ...(note === undefined ? {} : { note }) };
  if (rig.link.kind === 'twin') {
    const fed = rig.supply.kind === 'scpi';
    const twin = new TwinWorld({ rig, article, channels, breathe, now_ms: steady_ms, fed, ...more });
    return fed ? withSupply(input, twin, article.nominal_voltage_V, () => Promise.resolve(twin.close()), twinInstrument(twin.simulated)) : twin;
  }
  const guard = new GuardWorld({ rig, article, channels, supply: supply ?? null, ...more });
  return rig.supply.kind === 'scpi' ? withSupply(input, guard, rig.supply.voltage_V, () => guard.closed(), null) : guard;
}

/** The world together with the programmable supply of the rig file. */
export function withSupply({ rig, note = () => undefined }: WorldInput, inner: World, start_V: number, closeInner: () => Promise<void>, instrument: Instrument | null): SuppliedWorld {
  const file = rig.supply;
  if (file.kind !== 'scpi') throw new Error(`a supply of kind ${file.kind} cannot be programmed`);
  return new SuppliedWorld({ inner, closeInner, start_V, settle_s: file.settle_s, note, open: (volts) => openSupply(file, volts, note, instrument) });
}
