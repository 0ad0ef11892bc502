// Measuring parts on the I2C bus: found, set up, and asked whether they took it. Registers by the data sheets: INA226 SBOS547,
// INA219 SBOS448, ADS1115 SBAS444. Those of the NAU7802 agree with several public drivers; its data sheet was not opened.
import type { RigChannel } from '../../model/files/rig-channels';
import { ADS1115, INA219, INA226, NAU7802, stepFrom } from '../../model/converters';
import { PortError } from '../port-error';
import { unsigned, word } from './coding';
import type { I2c } from './i2c';
import { waitFor, type BoardTime } from './time';

/** A part with the channels that it measures. */
export interface Part {
  readonly name: 'ina226' | 'ina219' | 'ads1115' | 'nau7802';
  readonly address: number;
  readonly channels: readonly RigChannel[];
}

/** The I2C parts of a rig, each once. */
export function partsOf(channels: readonly RigChannel[]): Part[] {
  const parts = new Map<number, Part>();
  for (const channel of channels) {
    const { source } = channel;
    if (source.kind !== 'power-monitor' && source.kind !== 'converter') continue;
    const before = parts.get(source.address)?.channels ?? [];
    parts.set(source.address, { name: source.part, address: source.address, channels: [...before, channel] });
  }
  return [...parts.values()];
}

export const partText = (part: Part): string => `${part.name.toUpperCase()} at address ${part.address} (0x${part.address.toString(16)})`;

/** Finds and sets up a part. `tick_us`: time between two readings. Rejects with a {@link PortError} that says what is wrong with it. */
export async function setUp(part: Part, i2c: I2c, time: BoardTime, tick_us: number): Promise<void> {
  const asked = new Asked(part, i2c);
  switch (part.name) {
    case 'ina226': return await setUpIna226(asked, part);
    case 'ina219': return await setUpIna219(asked, part);
    case 'ads1115': return await setUpAds1115(asked, part, tick_us);
    case 'nau7802': return await setUpNau7802(asked, part, tick_us, time);
  }
}

/** Reading and writing with the words for what went wrong. */
class Asked {
  constructor(private readonly part: Part, private readonly i2c: I2c) {}

  async read(register: number, bytes: number): Promise<number> {
    const reply = await this.i2c.read(this.part.address, register, bytes);
    if (reply === null) {
      throw this.problem('does not answer. Check its supply, its two bus wires with their pull-ups, and the address in channels of the rig file.');
    }
    return unsigned(reply);
  }

  write(register: number, bytes: readonly number[]): void {
    this.i2c.write(this.part.address, register, bytes);
  }

  /** Writes a register of 16 bits and reads it back. */
  async set(register: number, value: number, mask = 0xffff): Promise<void> {
    this.write(register, word(value));
    const back = await this.read(register, 2);
    if ((back & mask) !== (value & mask)) throw this.problem(`was set to ${hex(value)} and says ${hex(back)}: it is another part, or the bus is disturbed.`);
  }

  expect(got: number, wanted: number, what: string): void {
    if (got !== wanted) throw this.problem(`is another part: its ${what} is ${hex(got)}, not ${hex(wanted)}. Correct part or address in the rig file.`);
  }

  problem(text: string): PortError {
    return new PortError('NO_PART', `${partText(this.part)} for ${this.part.channels.map((c) => c.kind).join(' and ')} ${text}`);
  }
}

const hex = (value: number): string => `0x${value.toString(16).padStart(4, '0')}`;
const shortest_us = (part: Part): number => Math.min(...part.channels.map((c) => c.period_us));
const averagesOf = (part: Part): number => Math.max(...part.channels.map((c) => c.averages));

/** Configuration of an INA226: as many averages as declared, each conversion as long as both fit into a period. */
export function ina226Config(period_us: number, averages: number): number {
  const average = Math.max(0, INA226.averages.findIndex((n) => n >= averages));
  const conversion = INA226.conversions_us.findLastIndex((t) => 2 * t * INA226.averages[average] <= period_us);
  return 0x4000 | (average << 9) | (Math.max(0, conversion) << 6) | (Math.max(0, conversion) << 3) | 7;
}

async function setUpIna226(asked: Asked, part: Part): Promise<void> {
  asked.expect(await asked.read(0xfe, 2), 0x5449, 'maker');
  asked.expect(await asked.read(0xff, 2), 0x2260, 'type');
  await asked.set(0x00, ina226Config(shortest_us(part), averagesOf(part)));
}

/** Configuration of an INA219: 32 V, ±320 mV, 12 bits, as many averages as declared. */
export function ina219Config(averages: number): number {
  const code = averages <= 1 ? 3 : 8 + Math.max(0, (INA219.averages as readonly number[]).indexOf(averages));
  return 0x2000 | 0x1800 | (code << 7) | (code << 3) | 7;
}

async function setUpIna219(asked: Asked, part: Part): Promise<void> {
  asked.write(0x00, word(0x8000));
  asked.expect(await asked.read(0x00, 2), 0x399f, 'configuration after a reset');
  await asked.set(0x00, ina219Config(averagesOf(part)));
}

/** Conversions a second that a converter must make so that no reading is an old one. */
function rateNeeded_Hz(channel: RigChannel, tick_us: number): number {
  return 1e6 / (channel.averages > 1 ? tick_us : channel.period_us);
}

/** Inputs of the multiplexer: against ground, and the pairs that the part can measure. */
export function adsMux(input: number, against: number | null): number | null {
  if (against === null) return 4 + input;
  const pair = [[0, 1], [0, 3], [1, 3], [2, 3]].findIndex(([a, b]) => a === input && b === against);
  return pair < 0 ? null : pair;
}

/** The clock of an ADS1115 may be 10 % slow (SBAS444, electrical characteristics). */
const ADS_CLOCK = 1.1;

export function ads1115Config(channel: RigChannel, tick_us: number): number {
  const { source } = channel;
  if (source.kind !== 'converter') throw new Error(`${channel.kind} has no converter`);
  const mux = adsMux(source.input, source.against) ?? 4;
  const gain = [...ADS1115.full_V.keys()].indexOf(source.amplifier) + 1;
  const rate = ADS1115.rates_Hz.findIndex((hz) => hz >= rateNeeded_Hz(channel, tick_us) * ADS_CLOCK);
  return (mux << 12) | (gain << 9) | ((rate < 0 ? ADS1115.rates_Hz.length - 1 : rate) << 5) | 3;
}

async function setUpAds1115(asked: Asked, part: Part, tick_us: number): Promise<void> {
  // The uppermost bit tells whether a conversion runs.
  await asked.set(0x01, ads1115Config(part.channels[0], tick_us), 0x7fff);
}

const NAU_RATE_BITS = new Map([[10, 0], [20, 1], [40, 2], [80, 3], [320, 7]]);
const NAU_READY_WITHIN_MS = 500;

async function setUpNau7802(asked: Asked, part: Part, tick_us: number, time: BoardTime): Promise<void> {
  const [channel] = part.channels;
  const { source } = channel;
  if (source.kind !== 'converter') throw new Error(`${channel.kind} has no converter`);
  asked.expect((await asked.read(0x1f, 1)) & 0x0f, 0x0f, 'revision');
  const rate = NAU_RATE_BITS.get(stepFrom(NAU7802.rates_Hz, rateNeeded_Hz(channel, tick_us)) ?? 320) ?? 7;
  asked.write(0x00, [0x01]);
  asked.write(0x00, [0x02]);
  await until(asked, time, 0x00, 0x08, 0x08, 'did not power up');
  asked.write(0x00, [0x86]); // both halves on, bridge fed by its own regulator
  asked.write(0x01, [0x20 | (NAU7802.gains as readonly number[]).indexOf(source.amplifier)]); // 3.3 V, gain
  asked.write(0x15, [0x30]);
  asked.write(0x1c, [0x80]);
  const second = (source.input === 1 ? 0x80 : 0) | (rate << 4);
  asked.write(0x02, [second | 0x04]); // its own offset is calibrated
  await until(asked, time, 0x02, 0x04, 0, 'did not finish its own calibration');
  const back = await asked.read(0x02, 1);
  if ((back & 0xf0) !== second) throw asked.problem(`was set to ${hex(second)} and says ${hex(back)}: it is another part, or the bus is disturbed.`);
  asked.write(0x00, [0x96]);
}

async function until(asked: Asked, time: BoardTime, register: number, mask: number, wanted: number, wrong: string): Promise<void> {
  const end_us = time.now_us() + NAU_READY_WITHIN_MS * 1000;
  while (((await asked.read(register, 1)) & mask) !== wanted) {
    if (time.now_us() > end_us) throw asked.problem(`${wrong} within ${NAU_READY_WITHIN_MS} ms.`);
    await waitFor(time, 5, () => false);
  }
}
