// From the declared article to the few facts that protocols use.
import type { Article } from '../model/files/article';
import type { DriveFacts } from './protocol';

/** The lower of the motor's and the ESC's declared currents counts; a propeller's diameter counts whether or not it is mounted now. */
export function driveFacts(article: Article): DriveFacts {
  return {
    kv_rpm_per_V: article.motor.kv_rpm_per_V,
    max_current_A: Math.min(article.motor.max_current_A, article.esc.max_current_A ?? Infinity),
    nominal_V: article.nominal_voltage_V,
    hover_thrust_N: article.hover_thrust_N,
    propeller_diameter_m: article.propeller.diameter_m,
  };
}
