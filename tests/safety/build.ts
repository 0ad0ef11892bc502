// A rig in numbers and a drive whose readings a test sets: rows at 1 kHz with each channel fresh at its own period.
import { toCounts, type ChannelFact, type ChannelKind } from '../../src/model/channel';
import type { RigLimits } from '../../src/model/files/rig';
import { BOARD_STATES, type BoardState, type SampleBlock } from '../../src/model/sample';
import type { Trip, TripCode } from '../../src/model/trip';
import { advance, startJudge, type JudgeSetup, type JudgeState } from '../../src/safety/judge';
import type { Desync } from '../../src/safety/rules/rotation';

const fact = (id: number, kind: ChannelKind, column: string, period_us: number, conversion: ChannelFact['conversion']): ChannelFact => ({
  id, kind, column, period_us, conversion, u_gain: 0.005, u_offset: kind === 'thrust' ? 0.002 : 0, filter_Hz: null, averaged: 1, placement: null,
});
const linear = (c1: number, c0 = 0) => ({ law: 'linear', zero: 0, c0, c1, c2: 0 }) as const;

export const FACTS: readonly ChannelFact[] = [
  fact(0, 'current', 'current_A', 1000, linear(0.01)),
  fact(1, 'voltage', 'voltage_V', 1000, linear(0.00125)),
  fact(2, 'speed', 'speed_rpm', 1000, { law: 'period', unit_s: 1e-6, pole_pairs: 6, c1: 1 }),
  fact(3, 'thrust', 'thrust_N', 12_500, linear(0.0005)),
  fact(4, 'motor_temperature', 'motor_degC', 100_000, linear(0.1)),
  fact(5, 'esc_temperature', 'esc_degC', 100_000, linear(0.1)),
];

export const LIMITS: RigLimits = {
  current_peak: { above_A: 40, for_s: 0.005 },
  current_mean: { above_A: 9, over_s: 0.5 },
  voltage_low: { below_V: 5.5, for_s: 0.02 },
  voltage_high: { above_V: 9, for_s: 0.002 },
  motor_temperature: { above_degC: 90, for_s: 0.5 },
  esc_temperature: { above_degC: 95, for_s: 0.5 },
  speed: { above_rpm: 38_000, for_s: 0.02 },
  thrust: { above_N: 2.45, for_s: 0.05 },
  stall: { current_A: 3, for_s: 0.3 },
  desync: { sustained_s: 0.2, count: 3 },
  sensor_stale: 5,
  sensor_frozen_s: 0.2,
  host_silence_s: 0.1,
  longest_run_s: 60,
  throttle_cap: 0.95,
  supply_sag: { below: 0.8, for_s: 0.05 },
  trend: { motor_K_per_s: 20, esc_K_per_s: 20, over_s: 1 },
  mismatch: { thrust: 0.4, for_s: 0.5 },
  stop: { current_A: 0.4, speed_rpm: 1500, within_s: 4 },
};

export const SETUP: JudgeSetup = {
  facts: FACTS, limits: LIMITS, tick_us: 1000, idle: 0.04, supply_V: 7.6, supplyLimit_A: 15, propeller_m: 0.0762,
  spans: { current: { from: -20, to: 60 }, speed: { from: 500, to: 100_000 } },
};

/** Thrust of the drive's propeller at a speed, N: 1 N at 24 000 rpm. */
export const thrustAt = (rpm: number) => (rpm / 24_000) ** 2;

/** A drive in a steady state; a test bends what it wants to. Noise is one count, alternating, so that nothing looks frozen. */
export class Drive {
  state: BoardState = 'driving';
  throttle = 0.5;
  ordinal = 1;
  si: Record<ChannelKind, number> = { current: 4, voltage: 7.6, speed: 24_000, thrust: 1, motor_temperature: 40, esc_temperature: 40, torque: 0 };
  /** Channels without a fresh sample, impossible ones, and ones without noise. */
  readonly silent = new Set<ChannelKind>();
  readonly impossible = new Set<ChannelKind>();
  readonly stuck = new Set<ChannelKind>();
  readonly desyncs: Desync[] = [];
  tick_us = 0;
  /** Device time between rows. */
  row_us = 1000;
  private readonly due = new Map<ChannelKind, number>();
  private readonly counts = new Map<ChannelKind, number>();
  private flip = 0;

  constructor(readonly judge: JudgeState = startJudge(SETUP)) {}

  static with(over: Partial<RigLimits>, setup: Partial<JudgeSetup> = {}): Drive {
    return new Drive(startJudge({ ...SETUP, ...setup, limits: { ...LIMITS, ...over } }));
  }

  /** One row; returns the trips that it latched. */
  row(): readonly Trip[] {
    this.tick_us += this.row_us;
    const first = this.judge.latch.first === null;
    const causes: TripCode[] = [];
    const trips = advance(this.judge, this.block(), 0, (cause) => {
      if (this.judge.latch.first !== null) throw new Error('the abort came after the latch');
      causes.push(cause);
    }) ?? [];
    // In every test of every rule: the abort is for the very cause that is then latched first, and for nothing else. A
    // row that comes late is left out before the rules: its abort follows its words.
    const due = first && trips.length > 0 && trips[0].code !== 'OUT_OF_ORDER' ? [trips[0].code] : [];
    if (causes.join() !== due.join()) throw new Error(`abort for [${causes.join()}], trips [${trips.map((t) => t.code).join()}]`);
    if (this.judge.desync !== null) this.desyncs.push(this.judge.desync);
    return trips;
  }

  /** Rows for a time; `change` is called before each with the milliseconds since the beginning. Stops at the first trip. */
  run(ms: number, change: (ms: number) => void = () => undefined): readonly Trip[] {
    const end = this.tick_us + ms * 1000;
    for (let t = 0; this.tick_us < end; t += this.row_us / 1000) {
      change(t);
      const trips = this.row();
      if (trips.length > 0) return trips;
    }
    return [];
  }

  /** Runs until a trip comes; returns its code and after how many milliseconds it came. */
  untilTrip(ms: number, change?: (ms: number) => void): { codes: readonly TripCode[]; after_ms: number } {
    const began = this.tick_us;
    const codes = this.run(ms, change).map((t) => t.code);
    return { codes, after_ms: (this.tick_us - began) / 1000 };
  }

  block(): SampleBlock {
    this.flip ^= 1;
    let fresh = 0;
    let valid = 0;
    for (const f of this.judge.setup.facts) {
      const due = this.due.get(f.kind) ?? 0;
      if (!this.impossible.has(f.kind) && (f.kind !== 'speed' || this.si.speed >= 100)) valid |= 1 << f.id;
      if (this.silent.has(f.kind) || this.tick_us < due) continue;
      this.due.set(f.kind, Math.max(due, this.tick_us - f.period_us) + f.period_us);
      fresh |= 1 << f.id;
      const exact = f.kind === 'speed' && this.si.speed < 100 ? 65_535 : Math.round(toCounts(f.conversion, this.si[f.kind]));
      if (!this.stuck.has(f.kind) || !this.counts.has(f.kind)) this.counts.set(f.kind, exact + (exact === 65_535 ? 0 : this.flip));
    }
    const counts = this.judge.setup.facts.map((f) => Int32Array.of(this.counts.get(f.kind) ?? 0));
    return {
      rows: 1, tick_us: Float64Array.of(this.tick_us), throttle: Uint16Array.of(Math.round(this.throttle * 10_000)),
      state: Uint8Array.of(BOARD_STATES.indexOf(this.state)), ordinal: Uint16Array.of(this.ordinal),
      fresh: Uint8Array.of(fresh), valid: Uint8Array.of(valid), counts,
    };
  }
}
