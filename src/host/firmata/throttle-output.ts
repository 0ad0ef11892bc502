// The throttle as servo pulses. A Firmata board that attaches a servo pin without a value sends 1500 µs, half throttle: so the
// pulse of stop goes out in the same write as the attachment, and the board is asked what it holds before anything else happens.
import five, { type Esc } from 'johnny-five';
import type { Rig } from '../../model/files/rig';
import { THROTTLE_FULL } from '../../wire/messages';
import { PortError } from '../port-error';
import type { FirmataLink } from './firmata-io';
import { waitFor, type BoardTime } from './time';

const ANSWER_WITHIN_MS = 500;
/** Firmata has no check sum: a pulse that stays is told again, so that a damaged one does not stay, µs. */
const REPEAT_US = 50_000;

/** Pulse for a raw throttle 0..10000, whole µs; 0 gives exactly the pulse of stop. */
export function pulseOf(raw: number, throttle: Rig['throttle']): number {
  return Math.round(throttle.stop_pulse_us + (raw / THROTTLE_FULL) * (throttle.full_pulse_us - throttle.stop_pulse_us));
}

export class ThrottleOutput {
  private written = NaN;
  private written_us = -Infinity;

  private constructor(private readonly esc: Esc, private readonly throttle: Rig['throttle'], private readonly time: BoardTime) {}

  /** Attaches the pin at the pulse of stop and asks the board whether it holds it. Rejects with a {@link PortError} when it does not. */
  static async attach(link: FirmataLink, pin: number, throttle: Rig['throttle'], time: BoardTime): Promise<ThrottleOutput> {
    const { io, board, port } = link;
    if (io.pins[pin]?.supportedModes.includes(io.MODES.SERVO) !== true) {
      const able = io.pins.flatMap((p, i) => (p.supportedModes.includes(io.MODES.SERVO) ? [i] : []));
      throw new PortError('NO_PIN', `${port.name}: pin ${pin} gives no servo pulses. link.throttle_pin: one of ${able.join(', ')}.`);
    }
    // The constructor attaches the pin and writes the lowest pulse of the range, one after the other: before a pulse can begin.
    const output = new ThrottleOutput(new five.ESC({ board, pin, pwmRange: [throttle.stop_pulse_us, throttle.full_pulse_us] }), throttle, time);
    output.write(0);
    let answered = false;
    io.queryPinState(pin, () => { answered = true; });
    await waitFor(time, ANSWER_WITHIN_MS, () => answered);
    const { mode, state } = io.pins[pin];
    const stop_us = pulseOf(0, throttle);
    if (!answered || mode !== io.MODES.SERVO || state !== stop_us) {
      throw new PortError('NO_PIN', `${port.name}: pin ${pin} does not hold the pulse of stop, ${stop_us} µs (${answered ? `it says ${state ?? 'nothing'} in mode ${mode}` : 'it did not answer'}). Cut the power of the speed controller.`);
    }
    return output;
  }

  /** Raw throttle 0..10000 to the pin, at once when it differs, else now and then. */
  write(raw: number): void {
    const now_us = this.time.now_us();
    if (raw === this.written && now_us - this.written_us < REPEAT_US) return;
    this.written = raw;
    this.written_us = now_us;
    this.esc.throttle(pulseOf(raw, this.throttle));
  }
}
