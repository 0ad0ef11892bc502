// Integer arithmetic with one meaning in both worlds. Plain `a * b` differs between JavaScript (a double) and wasm (wraps),
// and so does an un-truncated division: the core multiplies and divides only through these helpers.

/** Ages and timers stop counting here (microseconds, 2000 s), so that they can never wrap. */
export const AGE_MAX: i32 = 2000000000;

/** Low 32 bits of a product. ASC_TARGET is a constant: each compiler keeps one branch. */
export function mul(a: i32, b: i32): i32 {
  // prettier-ignore
  if (ASC_TARGET == 0) return Math.imul(a, b); else return i32(a * b);
}

/** Quotient cut towards zero; 0 for a divisor that is not positive (so no division can trap). */
export function div(a: i32, b: i32): i32 {
  return b > 0 ? i32(a / b) : 0;
}

export function clamp(v: i32, low: i32, high: i32): i32 {
  return v < low ? low : v > high ? high : v;
}

export function least(a: i32, b: i32): i32 {
  return a < b ? a : b;
}

/** Adds a non-negative time to a timer that saturates at AGE_MAX. */
export function older(age_us: i32, dt_us: i32): i32 {
  return age_us > AGE_MAX - dt_us ? AGE_MAX : age_us + dt_us;
}

/** a - b held inside i32, for counts that may lie anywhere in i32. */
export function gap(a: i32, b: i32): i32 {
  const d: i32 = i32(a - b);
  if (a >= b) return d < 0 ? 2147483647 : d;
  return d >= 0 ? -2147483648 : d;
}
