// A board with stock Firmata firmware as a board of ours: the controller core runs in this process and speaks our wire to the
// station, which runs here too. Core and station share a processor: together they are one stopping layer, and the firmware has
// no watchdog. When this process or the line to the board dies, the last pulse stays: only a hardware cut-off stops the motor.
import type { CoreInstance } from '../../controller/wasm';
import { instantiateCore } from '../../controller/wasm';
import type { Rig } from '../../model/files/rig';
import { PERIOD_NONE } from '../../wire/messages';
import type { BoardListener, BoardPort, OpenBoard } from '../board-port';
import { PortError } from '../port-error';
import { declareChannels } from './declare';
import { openFirmata, type FirmataLink } from './firmata-io';
import { I2c } from './i2c';
import { partsOf, partText, setUp } from './parts';
import { analogInputOf, ChannelReader, lawOf, registerOf, type Sample } from './readings';
import { StopInput } from './stop-input';
import { ThrottleOutput } from './throttle-output';
import { waitFor, type BoardTime } from './time';

export interface FirmataDeps {
  /** How the board's port is opened. */
  readonly openPort: OpenBoard;
  readonly time: BoardTime;
}

/** The core is looked at so often: its ticks are due by the clock, ms. */
const PUMP_EVERY_MS = 2;
/** A board that has said nothing for so long is lost, µs. Its sensors went stale long before. */
const SILENT_US = 250_000;
/** Every channel has delivered within, ms, over its period; a busy computer takes its time. */
const FIRST_SAMPLES_MS = 3000;
const POWER_ON = 1;

/** Opens the board of a rig with a Firmata link. The motor is at stop from the first pulse on. */
export function openFirmataBoard(rig: Rig, deps: FirmataDeps): OpenBoard {
  const { link } = rig;
  if (link.kind !== 'firmata') throw new PortError('REFUSED', `A link of kind ${link.kind} is no Firmata board.`);
  return async (listener) => {
    const { time } = deps;
    const early: { board: FirmataBoard | null; lost: string | null } = { board: null, lost: null };
    const firmata = await openFirmata(deps.openPort, time, (reason) => {
      early.lost = reason;
      early.board?.lose(reason);
    });
    try {
      const output = await ThrottleOutput.attach(firmata, link.throttle_pin, rig.throttle, time);
      const attached_us = time.now_us();
      const board = new FirmataBoard(rig, firmata, output, time, listener);
      await board.startSensors(link.stop_input);
      // The speed controller hears the pulse of stop for as long as it needs to wake up.
      const boot_ms = rig.throttle.boot_wait_s * 1000 - (time.now_us() - attached_us) / 1000;
      await waitFor(time, Math.max(0, boot_ms), () => early.lost !== null);
      if (early.lost !== null) throw new PortError('NO_FIRMATA', early.lost);
      early.board = board;
      board.run();
      return board;
    } catch (error) {
      await firmata.port.close();
      throw error;
    }
  };
}

class FirmataBoard implements BoardPort {
  private readonly core: CoreInstance = instantiateCore();
  private readonly readers: (ChannelReader | null)[] = [];
  private stopInput: StopInput | null = null;
  private stopPump: (() => void) | null = null;
  private ticked_us = 0;
  private over = false;

  constructor(private readonly rig: Rig, private readonly link: FirmataLink, private readonly output: ThrottleOutput, private readonly time: BoardTime, private readonly listener: BoardListener) {
    declareChannels(this.core, rig, uidOf(link), POWER_ON);
  }

  get name(): string {
    const { name, version } = this.link.io.firmware;
    return `${this.link.port.name} (${name ?? 'Firmata'}${version === undefined ? '' : ` ${version.major}.${version.minor}`})`;
  }

  /** From the station to the core. A stop or trip in it is at the pin before this returns. */
  send(bytes: Uint8Array): void {
    if (this.over) return;
    this.core.receive(bytes);
    if (this.core.getThrottle() === 0) this.output.write(0);
  }

  async close(): Promise<void> {
    if (!this.over) this.output.write(0);
    this.end();
    await this.link.port.close();
  }

  lose(reason: string): void {
    if (this.over) return;
    this.end();
    void this.link.port.close();
    this.listener.onLost(`${reason} A Firmata board keeps its last pulse when nobody speaks to it: cut the power if the motor turns.`);
  }

  private end(): void {
    this.over = true;
    this.stopPump?.();
  }

  // ---- start ------------------------------------------------------------------------------------------------------

  /** Sets up every part, starts the reports, waits for a sample of every channel. */
  async startSensors(stop: { readonly pin: number; readonly active: 'low' | 'high' } | null): Promise<void> {
    const { rig, time, link: { io, port } } = this;
    io.setSamplingInterval(rig.tick_us / 1000);
    if (stop !== null) this.stopInput = await StopInput.start(this.link, stop, time, (pressed) => this.core.stopInput(pressed ? 1 : 0));
    const parts = partsOf(rig.channels);
    if (parts.length > 0) {
      const i2c = new I2c(io, time);
      for (const part of parts) await setUp(part, i2c, time, rig.tick_us);
      this.startRegisters(i2c);
    }
    this.startAnalog();
    const longest_ms = Math.max(...rig.channels.map((c) => c.period_us)) / 1000;
    await waitFor(time, FIRST_SAMPLES_MS + 2 * longest_ms, () => this.readers.every((r) => r === null || r.samples > 0));
    const silent = rig.channels.filter((_, id) => this.readers[id]?.samples === 0);
    if (silent.length > 0) throw new PortError('NO_PART', `${port.name}: nothing came from ${silent.map((c) => c.kind).join(', ')}. Parts on the bus: ${parts.map(partText).join(', ')}.`);
  }

  private startRegisters(i2c: I2c): void {
    this.rig.channels.forEach((channel, id) => {
      const place = registerOf(channel);
      if (place === null) return;
      const reader = this.reader(id);
      i2c.readAlways(place.address, place.register, place.bytes, (reply) => reader.take(place.decode(reply)));
    });
  }

  private startAnalog(): void {
    const { io, port } = this.link;
    this.rig.channels.forEach((channel, id) => {
      const input = analogInputOf(channel);
      if (input === null) return;
      if (io.analogPins[input] === undefined) throw new PortError('NO_PIN', `${port.name}: there is no analogue input ${input} for ${channel.kind}. This board has 0 to ${io.analogPins.length - 1}.`);
      const reader = this.reader(id);
      io.analogRead(input, (counts) => reader.take(counts));
    });
  }

  private reader(id: number): ChannelReader {
    const channel = this.rig.channels[id];
    const { law, adds } = lawOf(channel);
    const reader = new ChannelReader(channel, this.rig.tick_us, adds, law, (sample) => this.sample(id, sample));
    this.readers[id] = reader;
    return reader;
  }

  private sample(id: number, { counts, valid }: Sample): void {
    if (!this.over) this.core.setInput(id, counts, valid && counts !== PERIOD_NONE ? 1 : 0);
  }

  // ---- run --------------------------------------------------------------------------------------------------------

  /** Starts the core's clock. */
  run(): void {
    this.ticked_us = this.time.now_us();
    this.stopPump = this.time.every(PUMP_EVERY_MS, () => this.pump());
  }

  /** Every tick that is due by now; a pause of this process is made up for, so that what it has missed is judged as missed time. */
  private pump(): void {
    const now_us = this.time.now_us();
    const { tick_us } = this.rig;
    const silent_us = now_us - this.link.heard_us();
    if (silent_us > SILENT_US) {
      this.lose(`${this.link.port.name}: the board has been silent for ${(silent_us / 1000).toFixed(0)} ms (unplugged, reset, or stuck on its I2C bus).`);
      return;
    }
    this.stopInput?.poll();
    while (now_us - this.ticked_us >= tick_us && !this.over) {
      this.ticked_us += tick_us;
      this.output.write(this.core.tick(tick_us));
      this.handOn();
    }
  }

  /** What the core has to say, copied: the station answers while it listens. */
  private handOn(): void {
    const { core } = this;
    for (let n = core.outLength(); n > 0 && !this.over; n = core.outLength()) {
      const bytes = core.view.slice(0, n);
      core.drop(n);
      this.listener.onBytes(bytes);
    }
  }
}

/** Firmata boards have no serial number: the name of the port stands for one. */
function uidOf(link: FirmataLink): number {
  let hash = 0x811c9dc5;
  for (const letter of link.port.name) hash = Math.imul(hash ^ letter.charCodeAt(0), 0x01000193);
  return hash >>> 1;
}
