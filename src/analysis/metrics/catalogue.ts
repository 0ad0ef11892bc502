/** Every metric by its stable name: the one list that margins, choices, tables and charts refer to. */
import type { Dimension } from '../../units/dimensions';

/** Which way is better; `none` where a metric only describes. */
export type Better = 'more' | 'less' | 'none';

/** What a metric is. */
export type MetricFact = {
  readonly name: string;
  /** Unit of the number in files and code. */
  readonly unit: string;
  /** How people read it: formatted as this dimension. `count` is a plain number. */
  readonly shown: Dimension | 'count';
  readonly better: Better;
  /** Short heading for tables and axes. */
  readonly title: string;
  /** One sentence that defines it. */
  readonly definition: string;
  readonly protocol: string;
};

const fact = <const N extends string>(
  name: N, unit: string, shown: MetricFact['shown'], better: Better, protocol: string, title: string, definition: string,
) => ({ name, unit, shown, better, protocol, title, definition });

const KV = 'kv';
const CURVE = 'thrust-curve';
const STEP = 'response';
const HOLD = 'efficiency-hold';
const START = 'spin-up';
const SOAK = 'soak';

export const CATALOGUE = [
  fact('kv_rpm_per_V', 'rpm/V', 'kv', 'none', KV, 'Apparent KV', 'Speed over voltage at the ESC, no propeller, full throttle, mean of 0.4 to 0.9 s after arrival.'),
  fact('no_load_current_A', 'A', 'current', 'less', KV, 'No-load current', 'Mean current without propeller at full throttle, 0.4 to 0.9 s after arrival.'),
  fact('no_load_speed_rpm', 'rpm', 'speed', 'none', KV, 'No-load speed', 'Mean speed without propeller at full throttle, 0.4 to 0.9 s after arrival.'),
  fact('kt_apparent_Nm_per_A', 'N m/A', 'count', 'none', KV, 'Apparent Kt', '60/(2π·KV) from KV corrected for current and resistance but not for timing advance: apparent, not a torque constant.'),

  fact('full_throttle_rpm', 'rpm', 'speed', 'more', CURVE, 'Full-throttle speed', 'Mean speed 0.4 to 0.9 s after arrival at full throttle.'),
  fact('full_throttle_thrust_N', 'N', 'force', 'more', CURVE, 'Full-throttle thrust', 'Mean thrust, zero-corrected, 0.4 to 0.9 s after arrival at full throttle.'),
  fact('full_throttle_current_A', 'A', 'current', 'less', CURVE, 'Full-throttle current', 'Mean current 0.4 to 0.9 s after arrival at full throttle.'),
  fact('full_throttle_power_W', 'W', 'power', 'less', CURVE, 'Full-throttle power', 'Mean electrical power at the ESC 0.4 to 0.9 s after arrival at full throttle.'),
  fact('full_throttle_efficacy_N_per_W', 'N/W', 'efficacy', 'more', CURVE, 'Full-throttle thrust per watt', 'Ratio of full-throttle thrust and power.'),
  fact('power_at_hover_W', 'W', 'power', 'less', CURVE, 'Power at hover thrust', 'Electrical power at the throttle where the thrust curve gives the hover thrust; curves are parabolas within ±4 % of that throttle.'),
  fact('throttle_at_hover', '1', 'ratio', 'none', CURVE, 'Throttle at hover thrust', 'Throttle where the thrust curve, a parabola within ±4 % of it, gives the hover thrust.'),
  fact('speed_at_hover_rpm', 'rpm', 'speed', 'none', CURVE, 'Speed at hover thrust', 'Speed at the throttle of hover thrust.'),
  fact('efficacy_at_hover_N_per_W', 'N/W', 'efficacy', 'more', CURVE, 'Thrust per watt at hover', 'Hover thrust over power at hover thrust.'),
  fact('power_at_equal_speed_W', 'W', 'power', 'less', CURVE, 'Power at equal speed', 'Electrical power where the speed curve reaches the reference speed: the same propeller at the same speed is the same load. Curves are parabolas within ±4 % of throttle.'),
  fact('ramp_lag_s', 's', 'time', 'none', CURVE, 'Lag on the ramps', 'Half the distance between up and down ramp at equal speed over the ramp rate, mean over speeds from 20 to 80 % of the way up; it bounds rotor lag from above.'),
  fact('curve_hysteresis', '1', 'ratio', 'none', CURVE, 'Hysteresis of thrust', 'Thrust on the way down less that on the way up, both shifted by their lag: its change from the low to the high end of the middle 80 % of throttle, as a share of thrust at the plateau. Zero where one lag explains both ramps. Where speed is measured its square stands for thrust, as a load cell drags and creeps.'),
  fact('thrust_exponent', '1', 'count', 'none', CURVE, 'Thrust exponent', 'Exponent of speed in thrust = zero + k·speed^exponent, the zero of the load cell fitted too; 2 where thrust goes with the square of speed.'),
  fact('thrust_coefficient', '1', 'count', 'more', CURVE, 'CT', 'T/(ρn²D⁴) at full throttle, with air density from temperature, station pressure and humidity.'),
  fact('power_coefficient', '1', 'count', 'less', CURVE, 'CP', 'Shaft power/(ρn³D⁵) at full throttle; needs a torque channel.'),
  fact('figure_of_merit', '1', 'ratio', 'more', CURVE, 'Figure of merit', 'Ideal over actual shaft power at full throttle; needs a torque channel.'),
  fact('full_throttle_thrust_standard_air_N', 'N', 'force', 'more', CURVE, 'Full-throttle thrust in standard air', 'Full-throttle thrust at the same speed in air of 1.225 kg/m³.'),

  fact('rise_time_10_90_s', 's', 'time', 'less', STEP, 'Rise time 10–90 %', 'Speed from 10 to 90 % of the step up (IEEE Std 181 reference levels), mean over steps.'),
  fact('rise_time_20_80_s', 's', 'time', 'less', STEP, 'Rise time 20–80 %', 'Speed from 20 to 80 % of the step up, mean over steps.'),
  fact('rise_t50_s', 's', 'time', 'less', STEP, 'Rise to 50 %', 'From the command to 50 % of the step up in speed.'),
  fact('rise_t80_s', 's', 'time', 'less', STEP, 'Rise to 80 %', 'From the command to 80 % of the step up in speed.'),
  fact('rise_dead_time_s', 's', 'time', 'less', STEP, 'Dead time, rise', 'From the command to 10 % of the step up in speed.'),
  fact('rise_settling_s', 's', 'time', 'less', STEP, 'Settling, rise', 'From the command until the mean step stays within 5 % of its final speed.'),
  fact('rise_overshoot', '1', 'ratio', 'less', STEP, 'Overshoot, rise', 'Largest excursion past the final speed over the step, before the last quarter of the dwell, which shows that speed; on the mean of all steps.'),
  fact('rise_rate_per_s', '1/s', 'ratio_rate', 'more', STEP, 'Normalised acceleration', 'Mean rate between 20 and 80 % over the size of the step.'),
  fact('fall_time_90_10_s', 's', 'time', 'less', STEP, 'Fall time 90–10 %', 'Speed from 90 to 10 % of the step down (braking), mean over steps.'),
  fact('fall_time_80_20_s', 's', 'time', 'less', STEP, 'Fall time 80–20 %', 'Speed from 80 to 20 % of the step down, mean over steps.'),
  fact('fall_t50_s', 's', 'time', 'less', STEP, 'Fall to 50 %', 'From the command to half of the step down in speed.'),
  fact('fall_t80_s', 's', 'time', 'less', STEP, 'Fall by 80 %', 'From the command until 80 % of the step down in speed is done.'),
  fact('fall_dead_time_s', 's', 'time', 'less', STEP, 'Dead time, fall', 'From the command until 10 % of the step down in speed is done.'),
  fact('fall_settling_s', 's', 'time', 'less', STEP, 'Settling, fall', 'From the command until the mean step stays within 5 % of its final speed.'),
  fact('fall_overshoot', '1', 'ratio', 'less', STEP, 'Undershoot, fall', 'Largest excursion past the final speed over the step, before the last quarter of the dwell, which shows that speed; on the mean of all steps.'),
  fact('fall_rate_per_s', '1/s', 'ratio_rate', 'more', STEP, 'Normalised braking', 'Mean rate between 80 and 20 % over the size of the step.'),
  fact('peak_current_A', 'A', 'current', 'less', STEP, 'Peak current', 'Highest current of a step up, averaged over 2 ms (over two sample periods where those are longer), mean over steps.'),
  fact('desyncs', '1', 'count', 'less', STEP, 'Desyncs', 'Recovered losses of commutation a run; their steps are left out of the times.'),

  fact('hold_rpm', 'rpm', 'speed', 'more', HOLD, 'Speed at the hold', 'Mean speed of the last 2 s of the hold, corrected to exactly the target.'),
  fact('hold_thrust_N', 'N', 'force', 'more', HOLD, 'Thrust at the hold', 'Mean thrust, zero-corrected, of the last 2 s of the hold, corrected to exactly the target.'),
  fact('hold_power_W', 'W', 'power', 'less', HOLD, 'Power at the hold', 'Mean electrical power at the ESC of the last 2 s of the hold, corrected to exactly the target.'),
  fact('hold_current_A', 'A', 'current', 'less', HOLD, 'Current at the hold', 'Mean current of the last 2 s of the hold, corrected to exactly the target.'),
  fact('hold_efficacy_N_per_W', 'N/W', 'efficacy', 'more', HOLD, 'Thrust per watt at the hold', 'Ratio of thrust and power at the hold.'),
  fact('hold_throttle', '1', 'ratio', 'none', HOLD, 'Throttle at the hold', 'Mean throttle that the loop needed in the last 2 s of the hold.'),
  fact('hold_correction', '1', 'ratio', 'none', HOLD, 'Correction to the target', 'Target over held value less one: the step that the correction takes.'),
  fact('hold_drift_per_s', '1/s', 'ratio_rate', 'none', HOLD, 'Drift over the hold', 'Slope of speed over the window, relative to its mean; none where the steps of the telemetry may hide it.'),

  fact('start_success', '1', 'ratio', 'more', START, 'Starts that succeeded', 'Share of starts that reached the stated speed within the bound.'),
  fact('time_to_speed_s', 's', 'time', 'less', START, 'Time to speed', 'From the command to the stated speed as the record shows it, mean over the starts that succeeded.'),

  fact('thermal_time_constant_s', 's', 'time', 'none', SOAK, 'Thermal time constant', 'Time constant of one exponential fitted to the case temperature at constant power, from a quarter of the soak on.'),
  fact('final_temperature_degC', 'degC', 'temperature', 'less', SOAK, 'Case temperature at the end', 'Mean temperature that the sensor on the case shows over the last twentieth of the soak; a sluggish sensor lags behind the case, and the winding is hotter.'),
  fact('temperature_rise_K', 'K', 'temperature_difference', 'less', SOAK, 'Temperature rise', 'Case temperature at the end less that at the start of the soak.'),
  fact('settled_rise_K', 'K', 'temperature_difference', 'less', SOAK, 'Rise when settled', 'Rise that the fitted exponential tends to.'),
  fact('soak_speed_drift', '1', 'ratio', 'none', SOAK, 'Drift of speed in the soak', 'Speed of the last tenth over that of the first tenth after settling, less one.'),
] as const satisfies readonly MetricFact[];

/** The name of a metric. */
export type MetricName = (typeof CATALOGUE)[number]['name'];

const BY_NAME: ReadonlyMap<string, MetricFact> = new Map(CATALOGUE.map((m) => [m.name, m]));

/** Every name, for the check of campaign files and for `schema`. */
export const METRIC_NAMES: readonly MetricName[] = CATALOGUE.map((m) => m.name);

/** Whether a key names a metric, with or without a protocol label in front. */
export const isMetric = (key: string): boolean => BY_NAME.has(key) || BY_NAME.has(key.slice(key.lastIndexOf('.') + 1));

/** What a metric is. A key with a protocol label in front, `response-2.rise_t50_s`, is looked up by its last part. */
export function metricFact(key: string): MetricFact {
  const found = BY_NAME.get(key) ?? BY_NAME.get(key.slice(key.lastIndexOf('.') + 1));
  if (found === undefined) throw new RangeError(`there is no metric "${key}"; accepted: ${METRIC_NAMES.join(', ')}`);
  return found;
}
