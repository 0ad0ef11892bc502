/** ln Γ(x) for x > 0 by Stirling's series after shifting x above 8 (Abramowitz & Stegun 6.1.41); good to 11 digits. */
export function logGamma(x: number): number {
  let shift = 0;
  let z = x;
  while (z < 8) shift += Math.log(z++);
  const r = 1 / (z * z);
  return (z - 0.5) * Math.log(z) - z + 0.5 * Math.log(2 * Math.PI) + (1 / 12 - r * (1 / 360 - r * (1 / 1260 - r / 1680))) / z - shift;
}
