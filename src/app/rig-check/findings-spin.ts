// What the first spin says: stop and idle, direction of thrust, pole pairs, propeller, zero of the load cell.
import { levelReading, levelThrustCoefficient, poleCount, segmentMean, zeroShift, type LevelReading } from '../../analysis/commissioning/spin';
import { withRole, type RunData } from '../../analysis/run-data';
import type { Article, Rig } from '../../model/files';
import type { Finding } from '../../model/rig-check';
import { formatNumber, formatQuantity } from '../../units';
import { fail, notChecked, pass, warn } from './finding';

/** Share of the expected speed samples from which a motor counts as turning. */
const TURNING = 0.5;
/**
 * Static thrust coefficients of most small propellers lie between these (UIUC Propeller Data Site, vol. 1: 0.106 to 0.130 for the file
 * apcsf_10x4.7_static_kt0835.txt). Upside down a propeller gives about half of its thrust (common practice, no published source):
 * one that gives much reads as usual then, so its coefficient is also compared with that of an earlier check.
 */
const USUAL_CT = { from: 0.09, to: 0.25 };
/** Below this share of the coefficient that an earlier check found, a propeller is another one or upside down. Rule of ours. */
const CT_AGAIN = 0.75;
/** The zero after a spin may differ from that before by this share of the thrust of the spin. Rule of ours. */
const ZERO_WITHIN = 0.05;

/** Findings of a `check-spin` run without a propeller that was played to its end. */
export function spinFindings(data: RunData, rig: Rig): Finding[] {
  const bump = levelReading(data, 'bump');
  if (bump === null) return [fail('bump', 'Bump', 'the bump was not played', 'look at the run’s record')];
  const turns = turning(bump, rig);
  return [...idle(data, rig), bumpFinding(bump, turns), endPoints(rig)];
}

/** Does it turn: by speed samples; without a speed channel by current above what a stop may have. */
function turning(level: LevelReading, rig: Rig): boolean {
  return level.turning !== null ? level.turning >= TURNING : (level.current_A ?? 0) > rig.limits.stop.current_A;
}

function idle(data: RunData, rig: Rig): Finding[] {
  const below = levelReading(data, 'below-idle');
  const at = levelReading(data, 'idle');
  const title = 'Idle is distinct from stop';
  if (below === null || at === null) return [notChecked('idle', title, 'the rig declares no idle', 'declare throttle.idle: the least throttle at which the motor turns')];
  const show = (l: LevelReading): string => `${formatQuantity(l.throttle, 'ratio')} ${turning(l, rig) ? `turns${l.speed_rpm === null ? '' : ` at ${formatNumber(l.speed_rpm)} rpm`}` : 'stands still'}`;
  const found = `${show(below)}, ${show(at)}`;
  if (!turning(at, rig)) return [fail('idle', title, found, 'raise throttle.idle until it turns: below it every step starts from a standstill')];
  if (turning(below, rig)) return [warn('idle', title, found, 'the declared idle is higher than it need be; a smaller one is safer')];
  return [pass('idle', title, found)];
}

function bumpFinding(bump: LevelReading, turns: boolean): Finding {
  const values = { throttle: bump.throttle, speed_rpm: bump.speed_rpm, current_A: bump.current_A, voltage_V: bump.voltage_V, thrust_N: bump.thrust_N };
  const found = [
    `at ${formatQuantity(bump.throttle, 'ratio')}: ${bump.speed_rpm === null ? 'no speed' : `${formatNumber(bump.speed_rpm)} rpm`}`,
    bump.current_A === null ? 'current not measured' : formatQuantity(bump.current_A, 'current', { digits: 3 }),
    bump.thrust_N === null ? 'thrust not measured' : formatQuantity(bump.thrust_N, 'force', { digits: 3 }),
  ].join(', ');
  return turns ? pass('bump', 'Bump', found, '', values)
    : fail('bump', 'Bump', `${found}: nothing that turns was seen`, 'look at the throttle signal, the ESC’s arming, the motor leads and the speed sensor', values);
}

export const POLES = 'Pole pairs, KV and voltage fit together';
/** The motor must stay this far below its speed limit, as a share of it. */
const BELOW_LIMIT = 0.95;

/** Why full throttle without a propeller cannot be tried on this rig; null when it can. */
export function fullThrottleProblem(rig: Rig, article: Article): string | null {
  if (rig.limits.throttle_cap < 1) return 'the rig caps the throttle below full; a kv run at low voltage tells it';
  const fastest = article.motor.kv_rpm_per_V * article.nominal_voltage_V;
  const limits = [rig.limits.speed?.above_rpm, article.motor.max_speed_rpm].filter((l): l is number => l !== undefined && l !== null);
  const least = Math.min(...limits, Infinity);
  if (fastest > BELOW_LIMIT * least) return `without a propeller it would turn at ${formatNumber(fastest, 3)} rpm, too near to the limit of ${formatNumber(least, 4)} rpm; a kv run at low voltage tells it`;
  return null;
}

/**
 * Of a `check-full` run: only at full throttle does the voltage at the ESC reach the motor whole, whatever the ESC's way of
 * switching, so only there does KV say what speed to expect.
 */
export function polesFinding(data: RunData, article: Article): Finding {
  const title = POLES;
  const bump = levelReading(data, 'full');
  if (bump === null) return notChecked('poles', title, 'the level was not played');
  const { motor } = article;
  const count = poleCount(bump, { kv_rpm_per_V: motor.kv_rpm_per_V, resistance_ohm: motor.resistance_ohm, pole_pairs: motor.pole_pairs });
  if (count === null) return notChecked('poles', title, 'speed or voltage was not measured');
  const values = { expected_rpm: count.expected_rpm, ratio: count.ratio, likely_pairs: count.likely_pairs };
  const found = `${formatNumber(bump.speed_rpm ?? 0)} rpm measured, ${formatNumber(count.expected_rpm)} rpm expected from ${formatNumber(motor.kv_rpm_per_V)} rpm/V: ratio ${formatNumber(count.ratio, 3)}`;
  if (count.likely_pairs === motor.pole_pairs) return pass('poles', title, found, '', values);
  return fail('poles', title, found, `count the magnets: ${count.likely_pairs} pole pairs would fit, ${motor.pole_pairs} are declared; or the declared KV is wrong`, values);
}

/** A thrust coefficient that an earlier check found right, and when. */
export interface EarlierCt {
  readonly ct: number;
  readonly at: string;
}

/** Findings of a `check-spin` run with the propeller on. */
export function thrustFindings(data: RunData, article: Article, earlier: EarlierCt | null = null): Finding[] {
  const bump = levelReading(data, 'bump');
  if (bump === null) return [fail('thrust-sign', 'Direction of thrust', 'the bump was not played', 'look at the run’s record')];
  const before = withRole(data, 'zero-before').at(0);
  const zero_N = before === undefined ? null : segmentMean(data, before, 'thrust');
  if (bump.thrust_N === null || zero_N === null) return [notChecked('thrust-sign', 'Direction of thrust', 'thrust was not measured')];
  const net = bump.thrust_N - zero_N;
  const found = `${formatQuantity(net, 'force', { digits: 3 })} at the bump`;
  const sign = net > 0 ? pass('thrust-sign', 'Direction of thrust', found, '', { thrust_N: net })
    : fail('thrust-sign', 'Direction of thrust', found, 'the motor turns the wrong way (swap two motor leads), the propeller is of the other hand, or the load cell reads backwards (turn the sign of its gain)', { thrust_N: net });
  return [sign, ...(net > 0 ? [propeller(data, bump, zero_N, article, earlier)] : []), zeroFinding(data, net)];
}

function propeller(data: RunData, bump: LevelReading, zero_N: number, article: Article, earlier: EarlierCt | null): Finding {
  const title = 'Propeller the right way up';
  const ct = levelThrustCoefficient(bump, zero_N, article.propeller.diameter_m, data.facts.air);
  if (ct === null) return notChecked('propeller', title, 'speed or diameter is unknown');
  const before = earlier === null ? '' : `, ${formatNumber(earlier.ct, 3)} at the check of ${earlier.at}`;
  const found = `thrust coefficient ${formatNumber(ct, 3)}; usual ${USUAL_CT.from} to ${USUAL_CT.to}${before}`;
  if (ct < USUAL_CT.from) return warn('propeller', title, found, 'too little thrust for its speed: see whether the propeller is upside down, or its diameter or the load cell’s gain is wrong; one of very low pitch may be like this', { ct });
  if (earlier !== null && ct < CT_AGAIN * earlier.ct) return warn('propeller', title, found, 'much less than before: see whether the propeller is upside down or damaged, or whether it is another one', { ct });
  if (ct > USUAL_CT.to) return warn('propeller', title, found, 'too much thrust for its speed: look at the declared diameter, the load cell’s gain and the pole pairs', { ct });
  return pass('propeller', title, found, '', { ct });
}

function zeroFinding(data: RunData, net_N: number): Finding {
  const title = 'Zero before and after: cables do not pull';
  const shift = zeroShift(data);
  if (shift === null) return notChecked('zero-shift', title, 'the zero was not measured twice');
  const found = `zero moved by ${formatQuantity(shift, 'force', { digits: 2 })}, thrust was ${formatQuantity(net_N, 'force', { digits: 3 })}`;
  return Math.abs(shift) <= ZERO_WITHIN * Math.abs(net_N) ? pass('zero-shift', title, found, '', { shift_N: shift })
    : warn('zero-shift', title, found, 'lead the cables off along the axis of no force, tied to the stand on both sides, and check again', { shift_N: shift });
}

function endPoints(rig: Rig): Finding {
  const title = 'Throttle end points';
  const { throttle } = rig;
  if (throttle.signal !== 'servo-pulse') return notChecked('end-points', title, 'the signal is digital: it has no end points to teach');
  return notChecked('end-points', title, `${formatNumber(throttle.stop_pulse_us)} µs is stop, ${formatNumber(throttle.full_pulse_us)} µs is full`,
    'teach the ESC these two pulses once, as its manual says, without a propeller; a full throttle that the ESC does not take for full bends every curve');
}
