// Is the rotor turning? Known only from the period channel, and only asked while the output drives.
import { stillPeriod } from './board';
import { counts, freshNow, periodChannel, valid } from './channels';
import { older } from './math';

/** Microseconds of drive since rotation was last seen (or since the output left zero). */
export let sinceRotation: i32 = 0;
/** Rotation was seen since the output left zero. */
export let rotationSeen: bool = false;

export function resetRotation(): void {
  sinceRotation = 0;
  rotationSeen = false;
}

/** A possible period that is not longer than the still period means that the rotor turns. */
export function turning(): bool {
  return periodChannel >= 0 && (valid & (1 << periodChannel)) != 0 && counts[periodChannel] <= stillPeriod;
}

/** Once a tick, before the rules. `powered`: the board drives with a throttle above zero. */
export function watchRotation(dt_us: i32, powered: bool): void {
  if (!powered) {
    resetRotation();
    return;
  }
  sinceRotation = older(sinceRotation, dt_us);
  if (periodChannel >= 0 && (freshNow & (1 << periodChannel)) != 0 && turning()) {
    sinceRotation = 0;
    rotationSeen = true;
  }
}
