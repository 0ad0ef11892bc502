// The proof test: each layer that stops the motor is tried alone, and the time it takes is measured.
// Alone means: the others hold the rig's own limits, which a low throttle does not come near, or cannot act at all.
import { channelOf } from '../../analysis/run-data';
import { firstAbove, zeroThrottleAt } from '../../analysis/commissioning/stop';
import type { LevelReading } from '../../analysis/commissioning/spin';
import type { Rig } from '../../model/files';
import type { RigLimits } from '../../model/files/rig';
import type { Layer, LayerProof } from '../../model/rig-check';
import type { Trip, TripCode } from '../../model/trip';
import { formatQuantity } from '../../units';
import type { CheckSession, Layers, Played, PlayOptions } from './session';

/** A tight limit lies at this share of what the bump gave: it is passed on the way up. */
const TIGHT = 0.6;
/** A cause is made this long after the level was reached, s. */
const AFTER_S = 1.5;
/** Zero throttle must follow a cause within this, s, besides the windows of the limit or the deadman. Rule of ours. */
const SLACK_S = 0.1;

interface Trial {
  readonly layer: Layer;
  readonly runs_on: string;
  readonly layers?: Layers;
  readonly cause?: NonNullable<PlayOptions['cause']>;
  /** The trip that this layer must give, and who must give it. */
  readonly code: TripCode;
  readonly by: Trip['by'];
  /** Longest time from cause to zero throttle, s. */
  readonly within_s: number;
}

/** Layers that this rig has, and how each is tried; `person` asks for what no program can do. */
export function trialsFor(rig: Rig, bump: LevelReading, person: (text: string) => void): Trial[] {
  const tight = tightLimits(rig, bump);
  const host = 'this computer';
  const board = rig.link.kind === 'firmata' ? host : 'the board';
  const onStation: Trial = { layer: 'station-limit', runs_on: host, layers: { station: tight.limits, board: rig.limits }, code: tight.code, by: 'station', within_s: tight.window_s + SLACK_S };
  const stopInput: Trial = {
    layer: 'stop-input', runs_on: board, code: 'STOP_INPUT', by: 'controller', within_s: SLACK_S,
    cause: {
      after_s: AFTER_S, undo: () => { person('Let go of the stop button.'); },
      act: (world) => {
        const pressed = world.pressStop(true);
        if (!pressed) person('Press the stop button now.');
        return pressed;
      },
    },
  };
  // Core and judge share the computer there: one layer. And nobody stops a Firmata board that has lost its computer.
  if (rig.link.kind === 'firmata') return [onStation, ...(rig.link.stop_input === null ? [] : [stopInput])];
  return [
    onStation,
    { layer: 'board-limit', runs_on: board, layers: { station: rig.limits, board: tight.limits }, code: tight.code, by: 'controller', within_s: tight.window_s + SLACK_S },
    { layer: 'deadman', runs_on: board, code: 'HOST_SILENT', by: 'controller', within_s: rig.limits.host_silence_s + SLACK_S, cause: { after_s: AFTER_S, act: (world) => world.mute(true) } },
    stopInput,
  ];
}

/** Tries one layer. */
export async function tryLayer(session: CheckSession, trial: Trial, set: readonly string[]): Promise<LayerProof> {
  const played = await session.play('check-stop', { set, ...(trial.layers === undefined ? {} : { layers: trial.layers }), ...(trial.cause === undefined ? {} : { cause: trial.cause }) });
  return judgeTrial(trial, played);
}

/** Pure: did this layer, and no other, stop the motor in time? */
export function judgeTrial(trial: Trial, played: Played): LayerProof {
  const { outcome, record, data, standstill_s } = played;
  const told = { layer: trial.layer, runs_on: trial.runs_on, record };
  // Nobody knows when a person pressed but the board, which says so in its trip.
  const told_s = outcome.trip === null || data === null ? null : (outcome.trip.tick_us - data.origin_us) / 1e6;
  const cause_s = trial.layers === undefined ? (played.caused_s ?? told_s) : crossing(trial, played);
  const zero_s = data === null || cause_s === null ? null : zeroThrottleAt(data, cause_s);
  const to_zero_s = zero_s === null || cause_s === null ? null : zero_s - cause_s;
  const no = (detail: string): LayerProof => ({ ...told, verdict: 'fail', to_zero_s, to_standstill_s: standstill_s, detail });
  const { trip } = outcome;
  if (trip === null) return no(`The run ended as ${outcome.outcome}: this layer did not stop it. ${outcome.detail}`);
  if (trip.code !== trial.code || trip.by !== trial.by) return no(`${trip.code} by the ${trip.by} stopped it first, ${trial.code} by the ${trial.by} was to: ${trip.detail}`);
  if (!outcome.stop_confirmed) return no(`It tripped, but no standstill was measured. ${outcome.detail}`);
  if (to_zero_s === null) return no('It tripped, but the record does not show when the throttle became zero.');
  if (to_zero_s > trial.within_s) return no(`Zero throttle came ${formatQuantity(to_zero_s, 'time', { digits: 3 })} after the cause; ${formatQuantity(trial.within_s, 'time')} are accepted.`);
  const still = standstill_s === null ? '' : `, standstill ${formatQuantity(standstill_s, 'time', { digits: 3 })} later`;
  return { ...told, verdict: 'pass', to_zero_s, to_standstill_s: standstill_s, detail: `Zero throttle ${formatQuantity(to_zero_s, 'time', { digits: 2 })} after the cause${still}.` };
}

/** When the tight limit was first passed, s. */
function crossing(trial: Trial, { data }: Played): number | null {
  if (data === null || trial.layers === undefined) return null;
  const limits = trial.by === 'station' ? trial.layers.station : trial.layers.board;
  const speed = channelOf(data, 'speed');
  if (trial.code === 'OVERSPEED') {
    const bound = limits?.speed?.above_rpm;
    return speed === null || bound === undefined ? null : firstAbove(speed, bound, 0);
  }
  const current = channelOf(data, 'current');
  return current === null || limits === undefined ? null : firstAbove(current, limits.current_mean.above_A, 0);
}

/** The rig's limits with one that a low throttle passes: speed where it is measured, else the mean current. */
function tightLimits(rig: Rig, bump: LevelReading): { limits: RigLimits; code: TripCode; window_s: number } {
  const { limits } = rig;
  const period_s = (kind: 'speed' | 'current'): number => (rig.channels.find((c) => c.kind === kind)?.period_us ?? rig.tick_us) / 1e6;
  if (bump.speed_rpm !== null) {
    const for_s = Math.max(0.02, 5 * period_s('speed'));
    return { limits: { ...limits, speed: { above_rpm: TIGHT * bump.speed_rpm, for_s } }, code: 'OVERSPEED', window_s: 2 * for_s };
  }
  const over_s = Math.max(0.1, 5 * period_s('current'));
  return { limits: { ...limits, current_mean: { above_A: TIGHT * (bump.current_A ?? limits.current_mean.above_A), over_s } }, code: 'CURRENT_MEAN', window_s: 3 * over_s };
}
