// When a supply holds its current limit instead of its voltage. One rule for the judge, the driver and the marks in a record.

/** At its current limit a supply lets go of the voltage: current this near to the limit, voltage this far below what was set. Rule of ours. */
const NEAR_LIMIT = 0.97;
const LET_GO = 0.95;

/** Whether these readings show a supply at its current limit. */
export function showsLimiting(current_A: number, voltage_V: number, limit_A: number, set_V: number): boolean {
  return current_A >= NEAR_LIMIT * limit_A && voltage_V < LET_GO * set_V;
}
