/** Where an increasing function passes zero. */

/**
 * Root of an increasing function between two bounds by false position (the Illinois rule, which halves the weight of an end
 * that stays; Dowell & Jarratt, BIT 11 (1971) 168). Bounds that do not enclose the root are moved outwards first.
 */
export function rootOf(f: (x: number) => number, low: number, high: number): number {
  let fLow = f(low);
  let fHigh = f(high);
  for (let i = 0; i < 60 && fLow > 0; i++) { high = low; fHigh = fLow; low /= 2; fLow = f(low); }
  for (let i = 0; i < 60 && fHigh < 0; i++) { low = high; fLow = fHigh; high *= 2; fHigh = f(high); }
  let x = high;
  let side = 0;
  for (let i = 0; i < 100 && high - low > 1e-10 * high; i++) {
    x = high - (fHigh * (high - low)) / (fHigh - fLow);
    const here = f(x);
    if (Math.abs(here) < 1e-13) break;
    if (here < 0) {
      low = x;
      fLow = here;
      if (side < 0) fHigh /= 2;
    } else {
      high = x;
      fHigh = here;
      if (side > 0) fLow /= 2;
    }
    side = Math.sign(here);
  }
  return x;
}
