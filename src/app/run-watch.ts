// What is watched over a whole run besides the limits: the load cell's zero before and after it, and how stiff the supply was.
import { toSI, type ChannelFact } from '../model/channel';
import type { BenchEvent } from '../model/events';
import type { SampleBlock } from '../model/sample';
import type { RunHeader } from '../record/header';
import { showsLimiting } from '../model/supply-limiting';

export interface ZeroNote {
  /** Mean of the load cell at rest, N; null without samples. */
  readonly before_N: number | null;
  readonly after_N: number | null;
  /** `after` less `before`. */
  readonly drift_N: number | null;
  /** `before` less that of the first run of this session. */
  readonly since_first_N: number | null;
}

export interface StiffnessNote {
  /** Highest and lowest bus voltage of the run, V; highest current, A. */
  readonly highest_V: number;
  readonly lowest_V: number;
  readonly peak_A: number;
  /** Slope of voltage over current, sign turned: resistance of supply and leads as the voltage sense sees it. Null below 0.5 A. */
  readonly source_ohm: number | null;
  /** Mean bus voltage before the throttle first left zero; null when there was no such row. */
  readonly rest_V: number | null;
  /** How far the bus fell below that under load, and rose above it when braking, V; 0 where nothing is known. */
  readonly dip_V: number;
  readonly rise_V: number;
  /** Rows in which the supply was at its current limit, and the time that they stand for, s. */
  readonly limiting_rows: number;
  readonly limiting_s: number;
}

/** What a supply was set to, to know when it is at its limit. */
export interface SupplySetting {
  readonly voltage_V: number;
  readonly current_limit_A: number;
}

/** What the supply of a run was set to, out of its header; null when the header does not say. */
export function supplySetting(header: RunHeader): SupplySetting | null {
  const supply = (header.rig as { readonly supply?: { readonly current_limit_A?: unknown } } | null)?.supply;
  const voltage_V = header.supply?.voltage_V;
  const limit = supply?.current_limit_A;
  return typeof limit === 'number' && typeof voltage_V === 'number' ? { voltage_V, current_limit_A: limit } : null;
}

/** Too small a current tells nothing about a resistance. */
const LEAST_PEAK_A = 0.5;

interface Window {
  readonly role: 'zero-before' | 'zero-after';
  readonly from_us: number;
  to_us: number;
  readonly ordinal: number;
  sum: number;
  n: number;
}

/** Feed it the blocks and events of one run. One plain loop over the rows, nothing kept of them. */
export class RunWatch {
  private readonly windows: Window[] = [];
  private readonly thrust: ChannelFact | undefined;
  private readonly current: ChannelFact | undefined;
  private readonly voltage: ChannelFact | undefined;
  private highest_V = -Infinity;
  private lowest_V = Infinity;
  private peak_A = -Infinity;
  private n = 0;
  private meanI = 0;
  private meanV = 0;
  private sII = 0;
  private sIV = 0;
  private restSum_V = 0;
  private restRows = 0;
  private driven = false;
  private limitingRows = 0;
  private limiting_us = 0;
  private last_us = NaN;

  /** @param supply left out when nobody knows its limit */
  constructor(channels: readonly ChannelFact[], private readonly supply: SupplySetting | null = null) {
    this.thrust = channels.find((c) => c.kind === 'thrust');
    this.current = channels.find((c) => c.kind === 'current');
    this.voltage = channels.find((c) => c.kind === 'voltage');
  }

  event(event: BenchEvent): void {
    if (event.type === 'segment-started' && (event.segment.role === 'zero-before' || event.segment.role === 'zero-after')) {
      this.windows.push({ role: event.segment.role, from_us: event.tick_us, to_us: Infinity, ordinal: event.ordinal, sum: 0, n: 0 });
    } else if (event.type === 'segment-ended') {
      for (const w of this.windows) if (w.ordinal === event.ordinal) w.to_us = event.tick_us;
    }
  }

  block(block: SampleBlock): void {
    if (this.thrust !== undefined && this.windows.length > 0) this.zeroRows(block, this.thrust);
    if (this.current !== undefined && this.voltage !== undefined) this.supplyRows(block, this.current, this.voltage);
  }

  private zeroRows(block: SampleBlock, thrust: ChannelFact): void {
    const bit = 1 << thrust.id;
    for (let i = 0; i < block.rows; i++) {
      if ((block.fresh[i] & block.valid[i] & bit) === 0) continue;
      for (const w of this.windows) {
        if (block.tick_us[i] < w.from_us || block.tick_us[i] > w.to_us) continue;
        w.sum += toSI(thrust.conversion, block.counts[thrust.id][i]);
        w.n++;
      }
    }
  }

  private supplyRows(block: SampleBlock, current: ChannelFact, voltage: ChannelFact): void {
    const bits = (1 << current.id) | (1 << voltage.id);
    const { supply } = this;
    for (let i = 0; i < block.rows; i++) {
      const since_us = block.tick_us[i] - this.last_us;
      this.last_us = block.tick_us[i];
      if (block.throttle[i] > 0) this.driven = true;
      if ((block.fresh[i] & block.valid[i] & bits) !== bits) continue;
      const amps = toSI(current.conversion, block.counts[current.id][i]);
      const volts = toSI(voltage.conversion, block.counts[voltage.id][i]);
      if (volts > this.highest_V) this.highest_V = volts;
      if (volts < this.lowest_V) this.lowest_V = volts;
      if (amps > this.peak_A) this.peak_A = amps;
      if (!this.driven) {
        this.restSum_V += volts;
        this.restRows++;
      }
      if (supply !== null && showsLimiting(amps, volts, supply.current_limit_A, supply.voltage_V)) {
        this.limitingRows++;
        if (since_us > 0) this.limiting_us += since_us;
      }
      // Running means and products (Welford, Technometrics 4 (1962) 419): no sum of large squares is taken apart.
      this.n++;
      const dI = amps - this.meanI;
      this.meanI += dI / this.n;
      this.meanV += (volts - this.meanV) / this.n;
      this.sII += dI * (amps - this.meanI);
      this.sIV += dI * (volts - this.meanV);
    }
  }

  zeros(first_N: number | null): ZeroNote {
    const mean = (role: Window['role']): number | null => {
      const w = this.windows.find((x) => x.role === role);
      return w === undefined || w.n === 0 ? null : w.sum / w.n;
    };
    const before_N = mean('zero-before');
    const after_N = mean('zero-after');
    return {
      before_N, after_N, drift_N: before_N === null || after_N === null ? null : after_N - before_N,
      since_first_N: before_N === null || first_N === null ? null : before_N - first_N,
    };
  }

  /** Null when current or voltage have not been measured. */
  stiffness(): StiffnessNote | null {
    if (this.n === 0) return null;
    const known = this.peak_A >= LEAST_PEAK_A && this.sII > 0;
    const rest_V = this.restRows === 0 ? null : this.restSum_V / this.restRows;
    return {
      highest_V: this.highest_V, lowest_V: this.lowest_V, peak_A: this.peak_A, source_ohm: known ? -this.sIV / this.sII : null, rest_V,
      dip_V: rest_V === null ? 0 : Math.max(0, rest_V - this.lowest_V), rise_V: rest_V === null ? 0 : Math.max(0, this.highest_V - rest_V),
      limiting_rows: this.limitingRows, limiting_s: this.limiting_us / 1e6,
    };
  }
}
