// From the bench's files to the simulated rig: what the rig file declares is what the simulated converters do.
import type { Dimension } from '../units';
import type { Setting } from '../model/fields';
import type { RigChannel } from '../model/files/rig-channels';
import type { Article } from '../model/files/article';
import type { Rig, RigLink } from '../model/files/rig';
import type { ChannelKind } from '../model/channel';
import { CHANNEL, scout, SETTING_NAMES, TICK_US, tinyClass, withSettings } from './physics';
import type { ChannelName, Fault, RigParameters, SettingName } from './physics';
import { changedSettings } from './physics/settings';
import type { ConverterParameters, SensorParameters, SupplyParameters } from './physics/parameters';

/** The bench asks for something that the simulated rig does not have. */
export class TwinProblem extends Error {
  override name = 'TwinProblem';
}

/** Simulated benches by the name that a rig file uses. */
export const TWINS: Readonly<Record<string, RigParameters>> = { scout, tiny: tinyClass };

type TwinLink = Extract<RigLink, { kind: 'twin' }>;

const CONVERTER_OF: Readonly<Record<Exclude<ChannelKind, 'torque'>, ChannelName>> = {
  current: 'current', voltage: 'voltage', speed: 'period', thrust: 'thrust', motor_temperature: 'motorTemperature', esc_temperature: 'escTemperature',
};

/** Position in the simulated rig's rows for each channel of the rig file, in the file's order. Throws {@link TwinProblem} for a torque channel. */
export function physicalChannels(rig: Rig): readonly number[] {
  return rig.channels.map((channel) => CHANNEL[converterName(channel.kind)]);
}

/**
 * The simulated rig that a rig file and an article describe: the named twin with the declared converters, sink, leads,
 * supply and ESC settings.
 * @throws TwinProblem naming what the simulated rig cannot do, and what it can
 */
export function twinParameters(rig: Rig, article: Article): RigParameters {
  const link = twinLink(rig);
  const base = TWINS[link.twin];
  if (base === undefined) throw new TwinProblem(`link.twin: there is no simulated bench "${link.twin}"; accepted: ${Object.keys(TWINS).join(', ')}`);
  if (rig.tick_us % TICK_US !== 0) throw new TwinProblem(`tick: ${rig.tick_us} µs is not a whole multiple of ${TICK_US} µs, the step of the simulated rig`);
  if (article.motor.pole_pairs !== base.motor.polePairs) {
    throw new TwinProblem(`article motor.pole_pairs is ${article.motor.pole_pairs}, but the simulated motor "${link.twin}" has ${base.motor.polePairs}`);
  }
  return withArticleSettings({ ...stand(base, link.noise), sensors: sensors(base.sensors, rig, link.noise), supply: supply(base.supply, rig) }, article);
}

/** A harsh stand's load cell drifts five times as much, and a new mounting of the propeller moves thrust and torque by 1 %. */
function stand(base: RigParameters, noise: TwinLink['noise']): RigParameters {
  if (noise !== 'harsh') return base;
  const { loadCell, mounting } = base;
  return {
    ...base, loadCell: { ...loadCell, drift_NperRootHour: 5 * loadCell.drift_NperRootHour },
    mounting: { thrustSpread: Math.max(0.01, mounting.thrustSpread), torqueSpread: Math.max(0.01, mounting.torqueSpread) },
  };
}

function twinLink(rig: Rig): TwinLink {
  if (rig.link.kind !== 'twin') throw new TwinProblem(`link.kind is ${rig.link.kind}; the simulated rig needs kind: twin`);
  return rig.link;
}

function converterName(kind: ChannelKind): ChannelName {
  if (kind === 'torque') throw new TwinProblem('channels.torque: the simulated rig has no torque sensor; leave the channel out');
  return CONVERTER_OF[kind];
}

function sensors(base: SensorParameters, rig: Rig, noise: TwinLink['noise']): SensorParameters {
  let out: SensorParameters = { ...base, voltageAt: rig.voltage_at };
  for (const channel of rig.channels) {
    const name = converterName(channel.kind);
    out = { ...out, [name]: converter(base[name], channel, noiseFactor(noise)) };
  }
  const drop = noise === 'harsh' ? 0.1 : noise === 'quiet' ? 0.001 : base.periodDropout;
  return { ...out, periodDropout: drop };
}

function noiseFactor(noise: TwinLink['noise']): number {
  return { none: 0, quiet: 0.3, usual: 1, harsh: 5 }[noise];
}

function converter(base: ConverterParameters, channel: RigChannel, noise: number): ConverterParameters {
  const each_us = channel.period_us / channel.averages;
  if (each_us % TICK_US !== 0 || each_us < TICK_US) {
    throw new TwinProblem(
      `channels.${channel.kind}: ${channel.averages} conversions in ${channel.period_us} µs are not whole multiples of ${TICK_US} µs apart; ` +
      `the simulated converters convert every ${TICK_US} µs at most`,
    );
  }
  const step = channel.gain * channel.averages;
  const zero = channel.zero / channel.averages;
  return {
    ...base, step, zero_counts: zero,
    min_counts: base.min_counts - base.zero_counts + zero, max_counts: base.max_counts - base.zero_counts + zero,
    noise: base.noise * noise, gainUncertainty: channel.u_gain, offsetUncertainty: channel.u_offset,
    conversion_us: each_us, average: channel.averages, filter_Hz: channel.filter_Hz ?? filterOf(base, channel.kind),
  };
}

/** The sluggishness of a thermistor is part of the simulated sensor, not a filter that a rig file would declare. */
function filterOf(base: ConverterParameters, kind: ChannelKind): number | null {
  return kind === 'motor_temperature' || kind === 'esc_temperature' ? base.filter_Hz : null;
}

function supply(base: SupplyParameters, rig: Rig): SupplyParameters {
  if (!feedsTwin(rig.supply)) throw new TwinProblem(`supply: the simulated rig is fed by a simulated supply; accepted: kind: twin, or kind: scpi with connection: { kind: twin }`);
  const { sink } = rig;
  const volts = rig.supply.voltage_V;
  const battery = base.battery === null ? null : { ...base.battery, openCircuit_V: volts };
  return {
    ...base, volts, currentLimit_A: rig.supply.current_limit_A, lead_ohm: rig.lead_resistance_ohm,
    battery: sink.kind === 'battery' ? battery : null,
    clamp: sink.kind === 'clamp' ? { margin_V: Math.max(0.05, sink.holds_V - volts), resistance_ohm: 0.02 }
      : sink.kind === 'resistor' ? { margin_V: 0, resistance_ohm: sink.resistance_ohm } : null,
  };
}

function feedsTwin(supply: Rig['supply']): boolean {
  return supply.kind === 'twin' || (supply.kind === 'scpi' && supply.connection.kind === 'twin');
}

function withArticleSettings(parameters: RigParameters, article: Article): RigParameters {
  let settings = parameters.settings;
  for (const [name, setting] of Object.entries(article.esc.settings)) {
    const known = settingName(name);
    settings = changedSettings(settings, known, settingValue(known, setting));
  }
  return withSettings(parameters, settings);
}

/** The ESC setting of that name. @throws TwinProblem */
export function settingName(name: string): SettingName {
  const found = SETTING_NAMES.find((known) => known === name);
  if (found === undefined) throw new TwinProblem(`the simulated ESC has no setting "${name}"; accepted: ${SETTING_NAMES.join(', ')}`);
  return found;
}

/** Dimension that each setting is written in; spool-up headroom is a share of duty. */
const DIMENSION_OF_SETTING: Readonly<Record<SettingName, Dimension>> = {
  switching_frequency: 'frequency', timing_advance: 'angle', spool_up_headroom: 'ratio', current_limit: 'current',
};

/** The number that the simulated ESC takes for a setting as it was written. @throws TwinProblem for another dimension */
export function settingValue(name: SettingName, setting: Setting): number {
  const wanted = DIMENSION_OF_SETTING[name];
  if (setting.kind !== 'quantity' || setting.dimension !== wanted) {
    throw new TwinProblem(`the simulated ESC's ${name} needs a ${wanted} with its unit, not "${setting.text}"`);
  }
  return setting.value;
}

/** Faults that a rig file can ask the simulated rig to play, by name. */
export const FAULTS: Readonly<Record<string, Fault>> = {
  'locked-rotor': { kind: 'lock-rotor' },
  'lost-propeller': { kind: 'lose-propeller' },
  'current-frozen': { kind: 'freeze-channel', channel: 'current' },
  'thrust-frozen': { kind: 'freeze-channel', channel: 'thrust' },
  'current-silent': { kind: 'silence-channel', channel: 'current' },
  'speed-silent': { kind: 'silence-channel', channel: 'period' },
  'current-saturated': { kind: 'saturate-channel', channel: 'current', at: 'high' },
  'thrust-saturated': { kind: 'saturate-channel', channel: 'thrust', at: 'high' },
  'thermistor-open': { kind: 'open-channel', channel: 'motorTemperature' },
  'supply-sag': { kind: 'supply-resistance', ohm: 1.2 },
  'no-sink': { kind: 'disconnect-sink' },
  'rough-bearing': { kind: 'scale-friction', factor: 12 },
  'lost-step': { kind: 'desync', duration_s: 0.1 },
  'lost-step-for-good': { kind: 'desync', duration_s: 5 },
  'hot-motor': { kind: 'heat-node', node: 'case', temperature_degC: 140 },
  'hot-esc': { kind: 'heat-node', node: 'esc', temperature_degC: 140 },
};

/** The fault of that name. @throws TwinProblem listing the names */
export function faultNamed(name: string): Fault {
  const fault = FAULTS[name];
  if (fault === undefined) throw new TwinProblem(`link.faults: the simulated rig knows no fault "${name}"; accepted: ${Object.keys(FAULTS).join(', ')}`);
  return fault;
}
