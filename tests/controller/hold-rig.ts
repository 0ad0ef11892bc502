// A hold from rest on the simulated rig, measured from its truths: used by hold.test.ts and by bench/hold-table.ts.
import type { RigParameters , MapCache} from '../../src/twin/physics';
import { SimulatedRig } from '../../src/twin/physics';
import * as m from '../../src/wire/messages';
import type { Core } from './kit';
import { Board } from './kit';

export type HoldKind = 'current' | 'power' | 'speed';
const SEGMENT: Record<HoldKind, number> = { current: m.SEG_HOLD_CURRENT, power: m.SEG_HOLD_POWER, speed: m.SEG_HOLD_SPEED };

/** True means at an operating point: A, W, rpm. */
export type Point = Record<HoldKind, number>;

/** The rig without errors of gain, offset and mounting and without failed starts; noise, quantisation and dropouts stay. */
export function withoutBias(rig: RigParameters): RigParameters {
  const exact = { gainUncertainty: 0, offsetUncertainty: 0 };
  const { sensors } = rig;
  return {
    ...rig,
    mounting: { thrustSpread: 0, torqueSpread: 0 },
    esc: { ...rig.esc, startFailure: 0 },
    sensors: {
      ...sensors,
      current: { ...sensors.current, ...exact }, voltage: { ...sensors.voltage, ...exact }, period: { ...sensors.period, ...exact },
    },
  };
}

/** Means over the last 100 ms of 1.2 s open loop at 99 % duty. */
export function topOf(rig: RigParameters, maps: MapCache): Point {
  const sim = new SimulatedRig(rig, { seed: 1, maps, noise: false });
  const throttle = (0.99 - rig.esc.minDuty) / (1 - rig.esc.minDuty);
  const sum = { current: 0, power: 0, speed: 0 };
  for (let k = 0; k < 1200; k++) {
    sim.step(throttle, 1000);
    if (k < 1100) continue;
    sum.current += sim.truth.current_A / 100;
    sum.power += (sim.truth.current_A * sim.truth.voltage_V) / 100;
    sum.speed += sim.truth.speed_rpm / 100;
  }
  return sum;
}

/** The wire's target nearest to an SI value, and the SI value that it stands for. */
export function targetOf(rig: RigParameters, kind: HoldKind, si: number): { counts: number; si: number } {
  const [current = NaN, voltage = NaN, period = NaN] = new SimulatedRig(rig, { seed: 1 }).channels.map((c) => c.scale);
  if (kind === 'speed') {
    const perTurn_s = 60 / rig.motor.polePairs;
    const counts = Math.round(perTurn_s / si / period);
    return { counts, si: perTurn_s / (counts * period) };
  }
  const scale = kind === 'current' ? current : current * voltage * 2 ** m.POWER_SHIFT;
  const counts = Math.round(si / scale);
  return { counts, si: counts * scale };
}

export interface HoldResult {
  /** Last moment at which the 50 ms mean was outside ±1 % of the target, ms; Infinity when it still was at the end. */
  readonly settled_ms: number;
  /** Largest 5 ms mean over the target, less 1. */
  readonly overshoot: number;
  /** Mean error of the last 0.5 s, relative. */
  readonly error: number;
  /** Largest deviation of the 50 ms mean in the last 0.5 s, relative. */
  readonly ripple: number;
  readonly desyncs: number;
}

export interface HoldOptions {
  readonly tick_us?: number;
  readonly duration_s?: number;
  readonly seed?: number;
  readonly cap?: number;
  readonly gainP?: number;
  readonly gainI?: number;
  /** Called each tick with the time, the true value over the target, and the raw throttle. */
  readonly watch?: (t_ms: number, value: number, throttle: number) => void;
}

/** Plays one hold from rest through real frames. */
export function playHold(core: Core, rig: RigParameters, maps: MapCache, kind: HoldKind, target: { counts: number; si: number }, options: HoldOptions = {}): HoldResult {
  const { tick_us = 1000, duration_s = 1.6, seed = 5, watch } = options;
  const sim = new SimulatedRig(rig, { seed, maps });
  const board = new Board(core, tick_us, [m.KIND_CURRENT, m.KIND_VOLTAGE, m.KIND_PERIOD]);
  board.permit_us = 0;
  const feed = (): void => {
    for (let c = 0; c < 3; c++) if (sim.fresh & (1 << c)) core.setInput(c, sim.counts[c] ?? 0, (sim.valid >> c) & 1);
  };
  const tick = (): number => {
    feed();
    const raw = core.tick(tick_us);
    sim.step(raw / m.THROTTLE_FULL, tick_us);
    return raw;
  };
  for (let k = 0; k < 20_000 / tick_us; k++) tick();
  board.samples = [null, null, null];
  board.arm([], {
    deadman_us: 2_000_000, currentZero: sim.channels[0]?.offset_counts ?? NaN, voltageZero: sim.channels[1]?.offset_counts ?? NaN,
  });
  board.queue([{
    kind: SEGMENT[kind], target: target.counts, duration_us: duration_s * 1e6, last: true,
    cap: options.cap ?? m.THROTTLE_FULL, gainP: options.gainP ?? 0, gainI: options.gainI ?? 0,
  }]);
  board.permit(2_000_000);
  board.must(m.CMD_START);

  const n = Math.round((duration_s * 1e6) / tick_us);
  const sums = new Float64Array(n + 1);
  for (let k = 0; k < n; k++) {
    const raw = tick();
    const t = sim.truth;
    const value = (kind === 'current' ? t.current_A : kind === 'power' ? t.current_A * t.voltage_V : t.speed_rpm) / target.si;
    sums[k + 1] = (sums[k] ?? 0) + value;
    watch?.((k * tick_us) / 1000, value, raw);
    if (k % 1000 === 0) {
      board.permit(2_000_000);
      core.drop(core.outLength());
    }
  }
  const mean = (end: number, span_ms: number): number => {
    const w = Math.round((span_ms * 1000) / tick_us);
    return ((sums[end] ?? NaN) - (sums[end - w] ?? NaN)) / w;
  };
  const perMs = 1000 / tick_us;
  let settled = 0, overshoot = -1, ripple = 0;
  for (let k = 50 * perMs; k <= n; k++) {
    const off = Math.abs(mean(k, 50) - 1);
    if (off > 0.01) settled = k === n ? Infinity : k + 1;
    if (k >= n - 500 * perMs) ripple = Math.max(ripple, off);
  }
  for (let k = 5 * perMs; k <= n; k++) overshoot = Math.max(overshoot, mean(k, 5) - 1);
  return { settled_ms: settled / perMs, overshoot, error: mean(n, 500) - 1, ripple, desyncs: sim.truth.desyncs };
}

/** Nominal, and each of winding resistance, inductance and inertia halved and doubled. */
export const VARIANTS = [
  {}, { resistance: 0.5 }, { resistance: 2 }, { inductance: 0.5 }, { inductance: 2 }, { inertia: 0.5 }, { inertia: 2 },
] as const;
