// What a rig at rest says: noise, drift, sample rates, and whether the readings can be true at all.
import { restReadings, type RestReading } from '../../analysis/commissioning/rest';
import { withRole, type RunData } from '../../analysis/run-data';
import { DIMENSION_OF } from '../../model/files/rig-channels';
import type { Rig } from '../../model/files';
import type { ChannelKind } from '../../model/channel';
import type { Finding } from '../../model/rig-check';
import { formatNumber, formatQuantity } from '../../units';
import { fail, pass, warn } from './finding';

/** A rate may differ from the declared one by this share. Rule of ours. */
const RATE_WITHIN = 0.02;
/** Longest gap between samples, in periods: three, and half a one for jitter. Rule of ours. */
const GAP_PERIODS = 3.5;
/** A reading that never moved leaves rounding only about its line, as a share of itself. */
const NO_NOISE = 1e-9;
/** A drift is told from noise when it is this many of its standard uncertainties. */
const DRIFT_SEEN = 3;
/** A bench stands in a room. */
const ROOM_degC = { from: 0, to: 45 };
/** Sensors of a drive that has rested agree within this, K. Rule of ours. */
const REST_AGREE_K = 8;
/** The bus at rest lies this near to what was set. Rule of ours; `arm_when.supply_within` overrides it. */
const SUPPLY_WITHIN = 0.05;

const WORD: Readonly<Record<ChannelKind, string>> = {
  current: 'Current', voltage: 'Voltage', speed: 'Speed', thrust: 'Thrust', motor_temperature: 'Motor temperature', esc_temperature: 'ESC temperature', torque: 'Torque',
};

/** Findings of a `check-rest` run. */
export function restFindings(data: RunData, rig: Rig, supply_V: number): Finding[] {
  const segment = withRole(data, 'check-rest').at(0);
  if (segment === undefined) return [fail('rest', 'At rest', 'the rest was not played', 'look at the run’s record')];
  const readings = restReadings(data, segment.start_s, segment.end_s);
  return [...readings.filter((r) => r.kind !== 'speed').map(channelFinding), ...plausible(readings, rig, supply_V)];
}

/** One channel: what it shows at rest, and how often. The first thing that is wrong is told. */
function channelFinding(r: RestReading): Finding {
  const id = `rest-${r.kind}`;
  const title = `${WORD[r.kind]} at rest`;
  if (r.mean === null || r.noise === null || r.rate_Hz === null || r.longest_gap_s === null) {
    return fail(id, title, `${r.samples} samples in the whole rest`, 'see whether the sensor is connected and its channel declared with the right period');
  }
  const spread = r.kind.endsWith('temperature') ? 'temperature_difference' as const : DIMENSION_OF[r.kind];
  const show = (v: number): string => formatQuantity(v, spread, { digits: 2 });
  const drift = r.drift_per_min === null || r.u_drift_per_min === null || Math.abs(r.drift_per_min) < DRIFT_SEEN * r.u_drift_per_min ? 'no drift seen' : `drift ${show(r.drift_per_min)} a minute`;
  const rate = `${formatNumber(r.rate_Hz, 4)} samples a second`;
  const found = `${formatQuantity(r.mean, DIMENSION_OF[r.kind])}, noise ${show(r.noise)}, ${drift}; ${rate}, longest gap ${formatQuantity(r.longest_gap_s, 'time', { digits: 3 })}`;
  const { mean, noise, drift_per_min, rate_Hz, declared_Hz, jitter_s, longest_gap_s, samples } = r;
  const values = { mean, noise, drift_per_min, rate_Hz, declared_Hz, jitter_s, longest_gap_s, samples };
  if (Math.abs(r.rate_Hz / r.declared_Hz - 1) > RATE_WITHIN) {
    return fail(id, title, `${found}; ${formatNumber(r.declared_Hz, 4)} a second are declared`, `declare the period that the sensor really has: period: ${formatQuantity(1 / r.rate_Hz, 'time')}`, values);
  }
  if (r.noise <= NO_NOISE * Math.abs(r.mean) && !r.kind.endsWith('temperature')) return warn(id, title, `${found}: not one count of noise`, 'a reading that never moves may be a frozen sensor: touch it and see whether the reading answers', values);
  if (r.impossible > 0) return warn(id, title, `${found}; ${r.impossible} impossible samples`, 'look at connectors and supply of the sensor', values);
  if (r.longest_gap_s > GAP_PERIODS / r.declared_Hz) return warn(id, title, found, 'samples go missing: look at the link and at what else the board does', values);
  return pass(id, title, found, '', values);
}

function plausible(readings: readonly RestReading[], rig: Rig, supply_V: number): Finding[] {
  const mean = (kind: ChannelKind): number | null => readings.find((r) => r.kind === kind)?.mean ?? null;
  const findings: Finding[] = [];
  const volts = mean('voltage');
  if (volts !== null) {
    const within = rig.arm_when?.supply_within ?? SUPPLY_WITHIN;
    const off = volts / supply_V - 1;
    const found = `${formatQuantity(volts, 'voltage')} at rest, ${formatQuantity(supply_V, 'voltage')} set: ${formatNumber(100 * off, 2)} % off`;
    findings.push(Math.abs(off) <= within ? pass('plausible-voltage', 'Voltage fits the supply', found, '', { off })
      : fail('plausible-voltage', 'Voltage fits the supply', found, 'set the supply, or calibrate the voltage channel: spoolbench rig calibrate voltage', { off }));
  }
  const amps = mean('current');
  if (amps !== null) {
    const found = `${formatQuantity(amps, 'current', { digits: 3 })} at rest; a stop counts as done below ${formatQuantity(rig.limits.stop.current_A, 'current')}`;
    findings.push(Math.abs(amps) < rig.limits.stop.current_A ? pass('plausible-current', 'Current is near zero at rest', found, '', { mean: amps })
      : fail('plausible-current', 'Current is near zero at rest', found, 'correct `zero` of the current channel, or no stop will ever be confirmed', { mean: amps }));
  }
  findings.push(...temperatures(mean('motor_temperature'), mean('esc_temperature'), rig));
  return findings;
}

function temperatures(motor: number | null, esc: number | null, rig: Rig): Finding[] {
  const all = [motor, esc, rig.environment?.temperature_degC ?? null].filter((t): t is number => t !== null);
  if (motor === null && esc === null) return [];
  const found = `motor ${motor === null ? 'not measured' : `${formatNumber(motor, 3)} °C`}, ESC ${esc === null ? 'not measured' : `${formatNumber(esc, 3)} °C`}${rig.environment === null ? '' : `, air ${formatNumber(rig.environment.temperature_degC, 3)} °C`}`;
  const spread = Math.max(...all) - Math.min(...all);
  const title = 'Temperatures at rest';
  if (Math.min(...all) < ROOM_degC.from || Math.max(...all) > ROOM_degC.to) return [warn('plausible-temperature', title, found, 'no room is like this: look at the sensor, its wiring and its declaration, or let the drive rest', { spread_K: spread })];
  if (spread > REST_AGREE_K) return [warn('plausible-temperature', title, `${found}: ${formatNumber(spread, 2)} K apart`, 'let the drive rest until both are at room temperature, then check again', { spread_K: spread })];
  return [pass('plausible-temperature', title, found, '', { spread_K: spread })];
}
