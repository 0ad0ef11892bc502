// Before a run: everything that blocks arming, all at once and in words.
import type { Rig } from '../model/files/rig';
import type { ChannelKind } from '../model/channel';
import type { Permit } from '../model/trip';
import type { JudgeState } from './judge';
import { permitNow, type PermitInput } from './permit';
import { show, showTime, UNIT_OF, WORD_OF } from './row';

export type ArmWhen = NonNullable<Rig['arm_when']>;

export interface ArmingInput extends PermitInput {
  /** `arm_when:` of the rig, or null. */
  readonly armWhen: ArmWhen | null;
  /** The board's state in words when it is anything but safe, or null. */
  readonly board: string | null;
}

/** The permit for arming: what blocks driving blocks arming too, and so does a condition that is not met yet. */
export function mayArm(input: ArmingInput): Permit {
  const reasons = [...permitNow(input).reasons];
  if (input.board !== null) reasons.push(input.board);
  const { judge } = input;
  if (judge.row.tick_us < 0) reasons.push('No row has come from the board yet.');
  else for (const { id, kind } of judge.rules.channels) if (judge.row.at_us[id] < 0 && kind !== 'speed') reasons.push(`No ${WORD_OF[kind]} sample has come yet.`);
  if (input.armWhen !== null) reasons.push(...unmet(judge, input.armWhen));
  return reasons.length > 0 ? { granted: false, reasons } : { granted: true, reasons: [] };
}

/** Warm-up, cool-down and supply conditions that are not met. */
function unmet(judge: JudgeState, when: ArmWhen): string[] {
  const reasons: string[] = [];
  const bounds: [ChannelKind, 'below' | 'above', number | null][] = [
    ['motor_temperature', 'below', when.motor_below_degC],
    ['motor_temperature', 'above', when.motor_above_degC],
    ['esc_temperature', 'below', when.esc_below_degC],
    ['esc_temperature', 'above', when.esc_above_degC],
  ];
  for (const [kind, side, bound] of bounds) {
    if (bound === null) continue;
    const value = latest(judge, kind);
    if (value === null) reasons.push(`Arming waits for the ${WORD_OF[kind]}, which is not measured.`);
    else if (side === 'below' ? !(value < bound) : !(value > bound))
      reasons.push(`Arming waits for the ${WORD_OF[kind]} to be ${side} ${show(bound)} ${UNIT_OF[kind]}; it is ${show(value)} ${UNIT_OF[kind]}.`);
  }
  const set = judge.setup.supply_V;
  if (when.supply_within !== null && set !== null) {
    const value = latest(judge, 'voltage');
    if (value === null || Math.abs(value / set - 1) > when.supply_within)
      reasons.push(`Arming waits for the bus to be within ${show(100 * when.supply_within)} % of ${show(set)} V; it is ${value === null ? 'not measured' : `${show(value)} V`}.`);
  }
  return reasons;
}

/** Latest possible value of a kind of channel, or null when there is none. */
function latest(judge: JudgeState, kind: ChannelKind): number | null {
  const channel = judge.rules.channels.find((c) => c.kind === kind);
  return channel === undefined || judge.row.at_us[channel.id] < 0 ? null : judge.row.si[channel.id];
}

/** How long the rig's conditions may be waited for, in words for a person who waits. */
export function waitText(when: ArmWhen): string {
  return `Waiting at most ${showTime(when.within_s * 1e6)} for the conditions of \`arm_when\`.`;
}
