// What a rig file asks of a Firmata board that such a board cannot do, or that contradicts itself.
import { formatQuantity } from '../units';
import { ADS1115, gainBySource, INA219, INA226, NAU7802 } from './converters';
import type { Rig } from './files/rig';
import type { RigChannel } from './files/rig-channels';
import { Findings } from './findings';
import { FIRMATA_TICK, firmataAbilities, SHORTEST_PULSE_US, type FirmataAbilities } from './firmata-abilities';
import type { Loaded } from './load';
import type { Path, Problem } from './problem';

/** A declared gain may differ from what the shunt says by its tolerance, not by more. */
const GAIN_WITHIN = 0.1;
/** Longest wake-up of a speed controller that the opening of the board waits for, s. */
const LONGEST_BOOT_S = 6;
/** Inputs of an ATmega328P board that carry the I2C bus. */
const BUS_INPUTS = [4, 5];

type Source = RigChannel['source'];
const SOURCES_FOR: Readonly<Record<RigChannel['kind'], readonly Source['kind'][]>> = {
  current: ['power-monitor', 'analog', 'converter'], voltage: ['power-monitor', 'analog', 'converter'], speed: ['analog-tachometer'],
  thrust: ['converter', 'analog'], torque: ['converter', 'analog'],
  motor_temperature: ['thermistor', 'analog', 'converter'], esc_temperature: ['thermistor', 'analog', 'converter'],
};

/** Problems of a rig file with a Firmata link; none for another link. */
export function checkFirmata(loaded: Loaded<Rig>): Problem[] {
  const rig = loaded.usable;
  if (rig === null) return [];
  const abilities = firmataAbilities(rig);
  if (abilities === null) return [];
  const found = new Findings(loaded);
  checkOutput(rig, found);
  checkTimes(rig, abilities, found);
  for (const channel of rig.channels) checkSource(channel, rig, found);
  checkSharing(rig, found);
  return found.problems;
}

/** A campaign of several runs on a rig whose motor nothing would stop when this computer fails. */
export function checkUnattended(loaded: Loaded<Rig>, runs: number): Problem[] {
  const rig = loaded.usable;
  if (rig === null || runs <= 1 || (firmataAbilities(rig)?.unattended ?? true)) return [];
  const found = new Findings(loaded);
  found.add({
    at: ['cut_off'], with: [['link', 'kind']], place: 'key',
    message: `a campaign of ${runs} runs on a Firmata board, and nothing cuts the power when this computer fails: such a board has no watchdog`,
    accepted: 'cut_off: { kind: contactor, note: ... } or { kind: supply-output }; or one attended run at a time: spoolbench run PROTOCOL',
  });
  return found.problems;
}

function checkOutput(rig: Rig, found: Findings): void {
  const { throttle, link } = rig;
  if (throttle.signal !== 'servo-pulse') found.add({ at: ['throttle', 'signal'], with: [['link', 'kind']], message: `a Firmata board gives servo pulses, not ${throttle.signal}`, accepted: 'signal: servo-pulse' });
  if (throttle.stop_pulse_us < SHORTEST_PULSE_US) found.add({ at: ['throttle', 'stop_pulse'], message: `a Firmata board takes ${throttle.stop_pulse_us} us for an angle`, accepted: `at least ${SHORTEST_PULSE_US} us` });
  for (const [key, us] of [['stop_pulse', throttle.stop_pulse_us], ['full_pulse', throttle.full_pulse_us]] as const) {
    if (Math.abs(us - Math.round(us)) > 1e-6) found.add({ at: ['throttle', key], message: 'a Firmata board takes whole microseconds', accepted: `${Math.round(us)} us` });
  }
  if (throttle.boot_wait_s > LONGEST_BOOT_S) found.add({ at: ['throttle', 'boot_wait'], message: `longer than the opening of a board may take, ${LONGEST_BOOT_S} s`, accepted: `at most ${LONGEST_BOOT_S} s` });
  if (link.kind === 'firmata' && link.stop_input?.pin === link.throttle_pin) found.add({ at: ['link', 'stop_input', 'pin'], with: [['link', 'throttle_pin']], message: 'is the throttle pin', accepted: 'another pin' });
  if (rig.supply.kind === 'twin') found.add({ at: ['supply', 'kind'], with: [['link', 'kind']], message: 'the supply of the simulated rig does not feed a real board', accepted: 'manual | scpi' });
  if (rig.cut_off.kind === 'supply-output' && rig.supply.kind !== 'scpi') found.add({ at: ['cut_off', 'kind'], with: [['supply', 'kind']], message: `a ${rig.supply.kind} supply switches nothing off by itself`, accepted: 'none | contactor, or supply.kind: scpi' });
}

function checkTimes(rig: Rig, abilities: FirmataAbilities, found: Findings): void {
  const { tick_us } = rig;
  const tick = formatQuantity(tick_us / 1e6, 'time');
  if (tick_us < FIRMATA_TICK.least_us || tick_us > FIRMATA_TICK.most_us || tick_us % 1000 !== 0) {
    found.add({ at: ['tick'], with: [['link', 'kind']], message: `a Firmata board takes samples every 10 ms at best, in whole milliseconds, not every ${tick}`, accepted: '10 ms .. 20 ms' });
    return;
  }
  for (const c of rig.channels) {
    if (c.period_us >= tick_us && c.period_us % tick_us !== 0) found.add({ at: ['channels', c.kind, 'period'], with: [['tick']], message: `the board takes a sample every ${tick}`, accepted: `a whole multiple of ${tick}` });
  }
  if (abilities.round_bytes > abilities.line_bytes) {
    found.add({
      at: ['channels'], with: [['link', 'baud'], ['tick']], place: 'key',
      message: `one round of reports is ${abilities.round_bytes} bytes; in ${tick} the line carries ${abilities.line_bytes} and stays free for a stop`,
      accepted: 'fewer channels or a longer tick',
    });
  }
}

function checkSource(channel: RigChannel, rig: Rig, found: Findings): void {
  const { source, kind } = channel;
  const at = (...path: string[]): Path => ['channels', kind, ...path];
  const allowed = SOURCES_FOR[kind];
  if (!allowed.includes(source.kind)) {
    found.add({ at: at('source'), with: [['link', 'kind']], message: `a Firmata board cannot read ${kind} from ${source.kind}${whyNot(source.kind)}`, accepted: allowed.map((k) => `kind: ${k}`).join(' | ') });
    return;
  }
  if (source.kind === 'power-monitor') checkMonitor(channel, found);
  else if (channel.averages * rig.tick_us > channel.period_us) {
    found.add({ at: at('averages'), with: [at('period'), ['tick']], message: `${channel.averages} readings do not fit into one period`, accepted: `at most ${Math.max(1, Math.floor(channel.period_us / rig.tick_us))}` });
  }
  if (source.kind === 'converter') checkConverter(channel, source, found);
  if ((source.kind === 'converter' || source.kind === 'analog') && source.element !== null) checkElement(channel, source, found);
  if (source.kind === 'thermistor' && channel.zero !== 0) found.add({ at: at('zero'), message: 'a thermistor is told in steps of gain from 0 °C', accepted: '0' });
}

function whyNot(kind: Source['kind']): string {
  if (kind === 'tachometer') return ': its pulses come faster than it can report';
  if (kind === 'esc-telemetry') return ': it cannot take telemetry';
  return '';
}

function checkMonitor(channel: RigChannel, found: Findings): void {
  const { source, kind, averages, period_us } = channel;
  if (source.kind !== 'power-monitor') return;
  const at = (key: string): Path => ['channels', kind, key];
  const by = gainBySource(channel);
  if (by !== null && Math.abs(channel.gain / by - 1) > GAIN_WITHIN) {
    const what = kind === 'voltage' ? `a count of the ${source.part} is ${formatQuantity(by, 'voltage')}` : `a count of the ${source.part} over ${formatQuantity(source.shunt_ohm, 'resistance')} is ${formatQuantity(by, 'current')}`;
    found.add({ at: at('gain'), with: [[...at('source'), 'shunt']], message: `${what}, not ${formatQuantity(channel.gain, kind === 'voltage' ? 'voltage' : 'current')}`, accepted: formatQuantity(by, kind === 'voltage' ? 'voltage' : 'current', { digits: 6 }) });
  }
  if (channel.zero !== 0) found.add({ at: at('zero'), message: `the ${source.part} counts from 0`, accepted: '0; a calibration corrects what is left' });
  const part = source.part === 'ina226' ? { list: INA226.averages as readonly number[], each_us: 2 * INA226.conversions_us[0] } : { list: INA219.averages as readonly number[], each_us: 2 * INA219.conversion_us };
  const fits = part.list.filter((n) => n * part.each_us <= period_us);
  if (!fits.includes(averages)) found.add({ at: at('averages'), with: [at('period')], message: `the ${source.part} cannot average ${averages} conversions in ${formatQuantity(period_us / 1e6, 'time')}`, accepted: fits.join(' | ') });
}

function checkConverter(channel: RigChannel, source: Extract<Source, { kind: 'converter' }>, found: Findings): void {
  const at = (key: string): Path => ['channels', channel.kind, 'source', key];
  const gains: readonly number[] = source.part === 'ads1115' ? [...ADS1115.full_V.keys()] : NAU7802.gains;
  if (!gains.includes(source.amplifier)) found.add({ at: at('amplifier'), message: `the ${source.part} has no gain of ${source.amplifier}`, accepted: gains.join(' | ') });
  if (source.part === 'nau7802') {
    if (source.input > 1) found.add({ at: at('input'), message: 'the nau7802 has two inputs', accepted: '0 | 1' });
    if (source.against !== null) found.add({ at: at('against'), message: 'the inputs of the nau7802 are pairs already', accepted: 'no against' });
  } else if (source.against !== null && !PAIRS.includes(`${source.input}-${source.against}`)) {
    found.add({ at: at('against'), message: `the ads1115 cannot measure input ${source.input} against ${source.against}`, accepted: PAIRS.join(' | ') });
  }
}

function checkElement(channel: RigChannel, source: Extract<Source, { kind: 'converter' | 'analog' }>, found: Findings): void {
  const at = (...path: string[]): Path => ['channels', channel.kind, ...path];
  const kind = source.element?.kind ?? '';
  if (!channel.kind.endsWith('_temperature')) found.add({ at: at('source', 'element'), message: `a ${kind} measures a temperature, not ${channel.kind}`, accepted: 'no element' });
  if (source.kind === 'converter' && source.part !== 'ads1115') found.add({ at: at('source', 'part'), with: [at('source', 'element')], message: `what a count of the ${source.part} is worth in volts hangs on its supply`, accepted: 'part: ads1115' });
  if (channel.zero !== 0) found.add({ at: at('zero'), with: [at('source', 'element')], message: `a ${kind} is told in steps of gain from 0 °C`, accepted: '0' });
}

const PAIRS = ['0-1', '0-3', '1-3', '2-3'];

/** Channels that ask for the same wires, or for one part set up in two ways. */
function checkSharing(rig: Rig, found: Findings): void {
  const inputs = new Map<number, RigChannel>();
  const parts = new Map<number, RigChannel>();
  const onBus = rig.channels.some((c) => c.source.kind === 'power-monitor' || c.source.kind === 'converter');
  for (const channel of rig.channels) {
    const { source, kind } = channel;
    const at = (key: string): Path => ['channels', kind, 'source', key];
    if (source.kind === 'analog' || source.kind === 'thermistor' || source.kind === 'analog-tachometer') {
      const other = inputs.get(source.input);
      if (other !== undefined) found.add({ at: at('input'), with: [['channels', other.kind, 'source', 'input']], message: `input ${source.input} already serves ${other.kind}`, accepted: 'another input' });
      else if (onBus && BUS_INPUTS.includes(source.input)) found.add({ at: at('input'), message: `input ${source.input} carries the I2C bus on an ATmega328P board`, accepted: '0 .. 3' });
      inputs.set(source.input, channel);
    }
    if (source.kind !== 'power-monitor' && source.kind !== 'converter') continue;
    const other = parts.get(source.address);
    parts.set(source.address, channel);
    if (other !== undefined) checkSamePart(channel, other, found);
  }
}

function checkSamePart(channel: RigChannel, other: RigChannel, found: Findings): void {
  const at = (key: string): Path => ['channels', channel.kind, 'source', key];
  const [a, b] = [channel.source, other.source];
  const rest: Path[] = [['channels', other.kind, 'source']];
  if (a.kind !== 'power-monitor' || b.kind !== 'power-monitor' || a.part !== b.part) {
    found.add({ at: at('address'), with: rest, message: `address of the part that measures ${other.kind}`, accepted: 'another address' });
    return;
  }
  if (a.shunt_ohm !== b.shunt_ohm) found.add({ at: at('shunt'), with: rest, message: `the same part has ${formatQuantity(b.shunt_ohm, 'resistance')} for ${other.kind}`, accepted: formatQuantity(b.shunt_ohm, 'resistance') });
  if (channel.averages !== other.averages) found.add({ at: ['channels', channel.kind, 'averages'], with: [['channels', other.kind, 'averages']], message: `the same part averages ${other.averages} for ${other.kind}`, accepted: String(other.averages) });
}
