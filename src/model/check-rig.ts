// Contradictions inside a rig file and between a rig and the article on it.
import { checkFirmata } from './check-firmata';
import { DIMENSION_OF } from './files/rig-channels';
import { Findings } from './findings';
import { formatQuantity } from '../units';
import { freshIn, limitList, type Limit } from './limits';
import { BOARD_WINDOW, safeThreshold } from './board-limits';
import { calibrationOf, channelFacts, spanOf } from './channel-facts';
import type { Article } from './files/article';
import type { Calibration } from './files/calibration';
import type { Rig } from './files/rig';
import type { Loaded } from './load';
import type { Path, Problem } from './problem';

/** Ticks between telemetry rows; a whole number on a rig without problems. */
export function rowDivider(rig: Rig): number {
  return Math.max(1, Math.round(1e6 / (rig.row_rate_Hz * rig.tick_us)));
}

/** Everything in a rig file that contradicts itself or cannot be compiled for the board. */
export function checkRig(loaded: Loaded<Rig>, calibrations: readonly Calibration[] = []): Problem[] {
  const rig = loaded.usable;
  if (rig === null) return [];
  const found = new Findings(loaded);
  checkRates(rig, found);
  checkSupply(rig, found);
  checkCheckMass(rig, found);
  checkWindows(rig, found);
  checkLevels(rig, found);
  checkChannelsOfLimits(rig, found);
  checkReach(rig, found, calibrations);
  checkArming(rig, found);
  return [...found.problems, ...checkFirmata(loaded)];
}

function checkRates(rig: Rig, found: Findings): void {
  const tick = formatQuantity(rig.tick_us / 1e6, 'time');
  const fastest = 1e6 / rig.tick_us;
  const divider = fastest / rig.row_rate_Hz;
  if (rig.row_rate_Hz > fastest * (1 + 1e-9)) {
    found.add({ at: ['row_rate'], with: [['tick']], message: `${formatQuantity(rig.row_rate_Hz, 'frequency')} is more than one row a tick of ${tick}`, accepted: `at most ${formatQuantity(fastest, 'frequency')}` });
  } else if (Math.abs(divider - Math.round(divider)) > 1e-6 * divider) {
    const near = [Math.ceil(divider), Math.floor(divider)].map((d) => formatQuantity(fastest / d, 'frequency', { digits: 6 }));
    found.add({ at: ['row_rate'], with: [['tick']], message: `a row every ${divider.toFixed(3)} ticks of ${tick}: not a whole number of ticks`, accepted: near.join(' or ') });
  }
  if (!Number.isInteger(rig.tick_us)) found.add({ at: ['tick'], message: 'is not a whole number of microseconds', accepted: '1 ms' });
  for (const c of rig.channels) {
    if (c.period_us < rig.tick_us) found.add({ at: ['channels', c.kind, 'period'], with: [['tick']], message: `a fresh sample every ${formatQuantity(c.period_us / 1e6, 'time')} is more than one a tick of ${tick}`, accepted: `at least ${tick}` });
  }
  if (rig.limits.host_silence_s * 1e6 < 5 * rig.tick_us) {
    found.add({ at: ['limits', 'host_silence'], with: [['tick']], message: `shorter than five ticks of ${tick}`, accepted: `at least ${formatQuantity((5 * rig.tick_us) / 1e6, 'time')}` });
  }
}

/** Key that holds the time of a counted limit, by the limit's key. */
const timeKey = (limit: Limit): Path => (limit.kind === 'frozen' ? ['limits', 'sensor_frozen'] : [...limit.key.split('.'), 'for']);

function checkWindows(rig: Rig, found: Findings): void {
  for (const limit of limitList(rig)) {
    if (limit.kind !== 'above' && limit.kind !== 'below' && limit.kind !== 'frozen') continue;
    const channel = rig.channels.find((c) => c.kind === limit.channel);
    if (channel === undefined || limit.window_s === null) continue;
    const fresh = freshIn(limit.window_s, channel.period_us);
    if (fresh <= BOARD_WINDOW) continue;
    const longest = formatQuantity((BOARD_WINDOW * channel.period_us) / 1e6, 'time');
    found.add({
      at: timeKey(limit), with: [['channels', channel.kind, 'period']],
      message: `holds ${fresh} fresh samples of ${channel.kind}, the board keeps ${BOARD_WINDOW}`,
      accepted: `at most ${longest}${limit.channel === 'current' && limit.kind !== 'frozen' ? '; for longer times use current_mean' : ''}`,
    });
  }
  const { current_peak, current_mean } = rig.limits;
  if (current_mean.over_s < current_peak.for_s) {
    found.add({ at: ['limits', 'current_mean', 'over'], with: [['limits', 'current_peak', 'for']], message: `the time of the mean is shorter than the time of the peak, ${formatQuantity(current_peak.for_s, 'time')}`, accepted: 'about half a second, such as 500 ms' });
  }
}

function checkLevels(rig: Rig, found: Findings): void {
  const l = rig.limits;
  const at = (...path: string[]): Path => ['limits', ...path];
  if (l.current_mean.above_A > l.current_peak.above_A) {
    found.add({ at: at('current_mean', 'above'), with: [at('current_peak', 'above')], message: `the mean may be ${formatQuantity(l.current_mean.above_A, 'current')}, more than the peak of ${formatQuantity(l.current_peak.above_A, 'current')}`, accepted: `at most ${formatQuantity(l.current_peak.above_A, 'current')}` });
  }
  if (l.stall !== null && l.stall.current_A >= l.current_peak.above_A) {
    found.add({ at: at('stall', 'current'), with: [at('current_peak', 'above')], message: 'a stall would reach the peak limit first', accepted: `below ${formatQuantity(l.current_peak.above_A, 'current')}` });
  }
  const low = l.voltage_low?.below_V ?? 0;
  const high = l.voltage_high.above_V;
  if (low >= high) {
    found.add({ at: at('voltage_low', 'below'), with: [at('voltage_high', 'above')], message: `voltage_low, ${formatQuantity(low, 'voltage')}, is not below voltage_high, ${formatQuantity(high, 'voltage')}`, accepted: `below ${formatQuantity(high, 'voltage')}` });
  } else if (rig.supply.voltage_V <= low || rig.supply.voltage_V >= high) {
    found.add({ at: ['supply', 'voltage'], with: [at('voltage_low', 'below'), at('voltage_high', 'above')], message: `${formatQuantity(rig.supply.voltage_V, 'voltage')} is not between the limits voltage_low and voltage_high`, accepted: `between ${formatQuantity(low, 'voltage')} and ${formatQuantity(high, 'voltage')}` });
  }
  const range = rig.supply.range_V;
  if (range !== null && (rig.supply.voltage_V < range.from || rig.supply.voltage_V > range.to)) {
    found.add({ at: ['supply', 'voltage'], with: [['supply', 'range']], message: `${formatQuantity(rig.supply.voltage_V, 'voltage')} is outside the range of the supply`, accepted: `${formatQuantity(range.from, 'voltage')} .. ${formatQuantity(range.to, 'voltage')}` });
  }
  if (rig.sink.kind !== 'none' && rig.sink.holds_V > high) {
    found.add({ at: ['sink', 'holds'], with: [at('voltage_high', 'above')], message: `the sink lets the bus rise to ${formatQuantity(rig.sink.holds_V, 'voltage')}, beyond voltage_high`, accepted: `at most ${formatQuantity(high, 'voltage')}` });
  }
  if (rig.sink.kind !== 'none' && rig.sink.holds_V < rig.supply.voltage_V) {
    found.add({ at: ['sink', 'holds'], with: [['supply', 'voltage']], message: `the sink holds the bus below the supply's ${formatQuantity(rig.supply.voltage_V, 'voltage')}`, accepted: `at least ${formatQuantity(rig.supply.voltage_V, 'voltage')}` });
  }
  if (rig.throttle.idle > l.throttle_cap) found.add({ at: ['throttle', 'idle'], with: [at('throttle_cap')], message: 'the idle throttle is above throttle_cap', accepted: `at most ${formatQuantity(l.throttle_cap, 'ratio')}` });
  if (rig.throttle.bump > l.throttle_cap) found.add({ at: ['throttle', 'bump'], with: [at('throttle_cap')], message: 'the bump throttle is above throttle_cap', accepted: `at most ${formatQuantity(l.throttle_cap, 'ratio')}` });
  if (rig.throttle.stop_pulse_us >= rig.throttle.full_pulse_us) found.add({ at: ['throttle', 'stop_pulse'], with: [['throttle', 'full_pulse']], message: 'the stop pulse is not shorter than the full pulse', accepted: `below ${rig.throttle.full_pulse_us} us` });
}

function checkSupply(rig: Rig, found: Findings): void {
  const { supply } = rig;
  if (supply.kind !== 'scpi') return;
  if (supply.connection.kind === 'twin' && rig.link.kind !== 'twin') {
    found.add({ at: ['supply', 'connection', 'kind'], with: [['link', 'kind']], message: 'the simulated instrument feeds the simulated rig only', accepted: 'kind: tcp | serial' });
  }
  if (supply.over_voltage_V !== null && supply.over_voltage_V <= supply.voltage_V) {
    found.add({ at: ['supply', 'over_voltage'], with: [['supply', 'voltage']], message: `the protection, ${formatQuantity(supply.over_voltage_V, 'voltage')}, is not above the ${formatQuantity(supply.voltage_V, 'voltage')} that are set`, accepted: `above ${formatQuantity(supply.voltage_V, 'voltage')}` });
  }
}

function checkCheckMass(rig: Rig, found: Findings): void {
  if (rig.check_mass === null) return;
  if (!rig.channels.some((c) => c.kind === 'thrust')) found.add({ at: ['check_mass'], with: [['channels']], message: 'is put on the load cell, and thrust is no channel of this rig', accepted: 'declare channels.thrust or leave this out', place: 'key' });
}

function checkChannelsOfLimits(rig: Rig, found: Findings): void {
  const has = (kind: string): boolean => rig.channels.some((c) => c.kind === kind);
  const need = (at: Path, kind: string): void => {
    if (!has(kind)) found.add({ at, with: [['channels']], message: `watches ${kind}, which is no channel of this rig`, accepted: `declare channels.${kind} or leave this limit out`, place: 'key' });
  };
  const l = rig.limits;
  if (l.motor_temperature !== null) need(['limits', 'motor_temperature'], 'motor_temperature');
  if (l.esc_temperature !== null) need(['limits', 'esc_temperature'], 'esc_temperature');
  if (l.speed !== null) need(['limits', 'speed'], 'speed');
  if (l.thrust !== null) need(['limits', 'thrust'], 'thrust');
  if (l.stall !== null) need(['limits', 'stall'], 'speed');
  if (l.desync !== null) need(['limits', 'desync'], 'speed');
  if (l.mismatch !== null) for (const kind of ['speed', 'thrust']) need(['limits', 'mismatch'], kind);
  if (l.trend !== null && l.trend.motor_K_per_s !== null) need(['limits', 'trend', 'motor_temperature'], 'motor_temperature');
  if (l.trend !== null && l.trend.esc_K_per_s !== null) need(['limits', 'trend', 'esc_temperature'], 'esc_temperature');
  if (l.trend !== null && l.trend.motor_K_per_s === null && l.trend.esc_K_per_s === null) found.add({ at: ['limits', 'trend'], message: 'names no temperature', accepted: 'motor_temperature: 20 K/s or esc_temperature: 20 K/s', place: 'key' });
}

/** A limit beyond what its converter can show would never trip. */
function checkReach(rig: Rig, found: Findings, calibrations: readonly Calibration[]): void {
  const facts = channelFacts(rig, calibrations);
  for (const limit of limitList(rig)) {
    const channel = rig.channels.find((c) => c.kind === limit.channel);
    const fact = facts.find((f) => f.kind === limit.channel);
    if (channel === undefined || fact === undefined || !['above', 'below', 'mean-above', 'stall'].includes(limit.kind)) continue;
    const at: Path = [...limit.key.split('.'), limit.kind === 'below' ? 'below' : limit.kind === 'stall' ? 'current' : 'above'];
    const dimension = DIMENSION_OF[channel.kind];
    const span = spanOf(rig, channel, calibrations);
    const rests: Path[] = [['channels', channel.kind]];
    if (span !== null && (limit.value <= span.from || limit.value >= span.to)) {
      const whose = calibrationOf(rig, channel.kind, calibrations) === null ? `the ${channel.kind} channel can show` : `the calibration of ${channel.kind} covers`;
      found.add({ at, with: rests, message: `${formatQuantity(limit.value, dimension)} is outside what ${whose}, so it would never trip`, accepted: `inside ${formatQuantity(span.from, dimension)} .. ${formatQuantity(span.to, dimension)}` });
    }
    const { side, threshold } = safeThreshold(fact.conversion, limit.value, limit.kind === 'below' ? 'below' : 'above');
    if (Math.abs(threshold) >= 2_147_483_647) found.add({ at, with: rests, message: 'no count of this channel reaches it', accepted: 'a limit that the channel can show' });
    if (side === 'below' && channel.kind === 'current') found.add({ at, with: rests, message: 'the calibrated slope of the current channel is negative', accepted: 'a current channel whose counts rise with the current' });
  }
}

function checkArming(rig: Rig, found: Findings): void {
  const a = rig.arm_when;
  if (a === null) return;
  for (const part of ['motor', 'esc'] as const) {
    const kind = `${part}_temperature`;
    const below = part === 'motor' ? a.motor_below_degC : a.esc_below_degC;
    const above = part === 'motor' ? a.motor_above_degC : a.esc_above_degC;
    const limit = part === 'motor' ? rig.limits.motor_temperature : rig.limits.esc_temperature;
    const key = (side: string): Path => ['arm_when', `${kind}_${side}`];
    for (const [side, value] of [['below', below], ['above', above]] as const) {
      if (value !== null && !rig.channels.some((c) => c.kind === kind)) found.add({ at: key(side), with: [['channels']], message: `waits on ${kind}, which is no channel of this rig`, accepted: `declare channels.${kind} or leave it out`, place: 'key' });
    }
    if (below !== null && above !== null && above >= below) found.add({ at: key('above'), with: [key('below')], message: `warmer than ${formatQuantity(above, 'temperature')} and colder than ${formatQuantity(below, 'temperature')} is impossible`, accepted: `below ${formatQuantity(below, 'temperature')}` });
    if (below !== null && limit !== null && below > limit.above_degC) found.add({ at: key('below'), with: [['limits', kind, 'above']], message: `would arm at a temperature that trips: the limit is ${formatQuantity(limit.above_degC, 'temperature')}`, accepted: `at most ${formatQuantity(limit.above_degC, 'temperature')}` });
  }
}

/** Contradictions between a rig and the article that is bolted to it; shown in the file that is easier to mend. */
export function checkBench(rigFile: Loaded<Rig>, articleFile: Loaded<Article>): Problem[] {
  const rig = rigFile.usable;
  const article = articleFile.usable;
  if (rig === null || article === null) return [];
  const inRig = new Findings(rigFile);
  const inArticle = new Findings(articleFile);
  const speed = rig.channels.find((c) => c.kind === 'speed');
  const { motor, esc } = article;
  if (speed !== undefined && speed.pole_pairs !== null && speed.pole_pairs !== motor.pole_pairs) {
    inRig.add({ at: ['channels', 'speed', 'pole_pairs'], message: `${speed.pole_pairs} pole pairs here, ${motor.pole_pairs} in ${articleFile.file}: every speed would be wrong by their ratio`, accepted: String(motor.pole_pairs) }, [[articleFile, ['motor', 'pole_pairs']]]);
  }
  const mean = rig.limits.current_mean.above_A;
  for (const [what, most, path] of [['motor', motor.max_current_A, ['motor', 'max_current']], ['ESC', esc.max_current_A, ['esc', 'max_current']]] as const) {
    if (most !== null && mean > most) inRig.add({ at: ['limits', 'current_mean', 'above'], message: `allows ${formatQuantity(mean, 'current')} for long, the ${what} in ${articleFile.file} takes ${formatQuantity(most, 'current')}`, accepted: `at most ${formatQuantity(most, 'current')}` }, [[articleFile, path]]);
  }
  const limit = rig.limits.speed?.above_rpm ?? null;
  if (limit !== null && motor.max_speed_rpm !== null && limit > motor.max_speed_rpm) {
    inRig.add({ at: ['limits', 'speed', 'above'], message: `allows ${formatQuantity(limit, 'speed')}, the motor in ${articleFile.file} takes ${formatQuantity(motor.max_speed_rpm, 'speed')}`, accepted: `at most ${formatQuantity(motor.max_speed_rpm, 'speed')}` }, [[articleFile, ['motor', 'max_speed']]]);
  }
  const nominal = article.nominal_voltage_V;
  const low = rig.limits.voltage_low?.below_V ?? 0;
  const high = rig.limits.voltage_high.above_V;
  if (nominal <= low || nominal >= high) {
    inArticle.add({ at: ['nominal_voltage'], message: `${formatQuantity(nominal, 'voltage')} is not between the voltage limits of ${rigFile.file}`, accepted: `between ${formatQuantity(low, 'voltage')} and ${formatQuantity(high, 'voltage')}` }, [[rigFile, ['limits', 'voltage_low']], [rigFile, ['limits', 'voltage_high']]]);
  }
  return [...inRig.problems, ...inArticle.problems];
}

/** A calibration that belongs to another rig, has expired, or is of a channel that the rig lacks. @param today e.g. `2026-03-01` */
export function checkCalibration(loaded: Loaded<Calibration>, rig: Rig, today: string): Problem[] {
  const c = loaded.usable;
  if (c === null) return [];
  const found = new Findings(loaded);
  if (c.rig !== rig.name) found.add({ at: ['rig'], message: `belongs to ${c.rig}, this rig is ${rig.name}`, accepted: `rig: ${rig.name}, or keep it with its own rig` });
  if (c.expires <= today) found.add({ at: ['expires'], message: `expired on ${c.expires}, today is ${today}`, accepted: 'calibrate the channel again' });
  if (c.date > today) found.add({ at: ['date'], message: `is dated ${c.date}, today is ${today}`, accepted: 'a date that is not in the future' });
  if (c.channel !== 'lead_resistance' && !rig.channels.some((channel) => channel.kind === c.channel)) found.add({ at: ['channel'], message: `${c.channel} is no channel of ${rig.name}`, accepted: rig.channels.map((channel) => channel.kind).join(' | ') });
  return found.problems;
}
