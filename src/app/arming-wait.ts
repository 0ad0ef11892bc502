// Waits for what the rig file asks before the motor may start. The station judges it again when it arms; this only waits.
import type { Rig } from '../model/files';
import type { Readings, World } from './world';

/** Whether the readings meet `arm_when:`; a reading that is missing meets nothing. */
export function meets(readings: Readings, when: NonNullable<Rig['arm_when']>): boolean {
  const below = (value: number | null, bound: number | null): boolean => bound === null || (value !== null && value < bound);
  const above = (value: number | null, bound: number | null): boolean => bound === null || (value !== null && value > bound);
  return below(readings.motor_degC, when.motor_below_degC) && above(readings.motor_degC, when.motor_above_degC)
    && below(readings.esc_degC, when.esc_below_degC) && above(readings.esc_degC, when.esc_above_degC);
}

/** Lets the bench rest until `arm_when:` is met, within its bound. Resolves whether it is met; true when the rig asks for nothing. */
export async function waitUntilArmable(world: World, rig: Rig, given_up: () => boolean): Promise<boolean> {
  const when = rig.arm_when;
  if (when === null) return true;
  await world.playUntil(() => given_up() || meets(world.readings(), when), when.within_s);
  return meets(world.readings(), when);
}
