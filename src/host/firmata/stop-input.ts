// The stop input of a Firmata board: a pin with its pull-up on. The firmware reports changes only, and a report may be damaged, so
// it is asked for the level again and again.
import { PortError } from '../port-error';
import type { FirmataLink } from './firmata-io';
import { waitFor, type BoardTime } from './time';

const ASK_EVERY_US = 100_000;
const ANSWER_WITHIN_MS = 500;

export class StopInput {
  private asked_us = -Infinity;
  private level: number | null = null;

  private constructor(private readonly link: FirmataLink, private readonly pin: number, private readonly time: BoardTime) {}

  /** Starts to watch. Rejects with a {@link PortError} when the pin cannot serve or says nothing. */
  static async start(link: FirmataLink, stop: { readonly pin: number; readonly active: 'low' | 'high' }, time: BoardTime, tell: (pressed: boolean) => void): Promise<StopInput> {
    const { io, port } = link;
    const modes = io.pins[stop.pin]?.supportedModes ?? [];
    if (!modes.includes(io.MODES.INPUT)) throw new PortError('NO_PIN', `${port.name}: pin ${stop.pin} cannot serve as the stop input: it is no input. Correct link.stop_input.pin.`);
    const input = new StopInput(link, stop.pin, time);
    if (modes.includes(io.MODES.PULLUP)) io.pinMode(stop.pin, io.MODES.PULLUP);
    else {
      // Firmware before 2.5 has no such mode: writing high to an input switches its pull-up on.
      io.pinMode(stop.pin, io.MODES.INPUT);
      io.digitalWrite(stop.pin, 1);
    }
    io.digitalRead(stop.pin, (level) => {
      input.level = level;
      tell((level === 1) === (stop.active === 'high'));
    });
    await waitFor(time, ANSWER_WITHIN_MS, () => {
      input.poll();
      return input.level !== null;
    });
    if (input.level === null) throw new PortError('NO_PIN', `${port.name}: the stop input, pin ${stop.pin}, says nothing.`);
    return input;
  }

  poll(): void {
    const now_us = this.time.now_us();
    if (now_us - this.asked_us < ASK_EVERY_US) return;
    this.asked_us = now_us;
    // Asking for reports that are on already makes the firmware tell the present level.
    this.link.io.reportDigitalPin(this.pin, 1);
  }
}
