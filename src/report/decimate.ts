// Fewer points of a trace without losing a peak.

export type Points = { readonly t: number[]; readonly v: number[] };

/** At most `most` points: in each stretch of samples the lowest and the highest, in the order in which they came. */
export function decimate(t_s: Float64Array, value: Float64Array, most: number): Points {
  const n = t_s.length;
  if (n <= most) return { t: [...t_s], v: [...value] };
  const stretches = Math.max(1, Math.floor(most / 2));
  const t: number[] = [];
  const v: number[] = [];
  for (let k = 0; k < stretches; k++) {
    const from = Math.floor((k * n) / stretches);
    const to = Math.floor(((k + 1) * n) / stretches);
    let low = from;
    let high = from;
    for (let i = from; i < to; i++) {
      if (value[i] < value[low]) low = i;
      if (value[i] > value[high]) high = i;
    }
    for (const i of low === high ? [low] : low < high ? [low, high] : [high, low]) {
      t.push(t_s[i]);
      v.push(value[i]);
    }
  }
  return { t, v };
}

/** Whole numbers as differences: what compresses well. `step` is the size of one. */
export function deltas(values: readonly number[], step: number): number[] {
  let last = 0;
  return values.map((x) => {
    const whole = Math.round(x / step);
    const delta = whole - last;
    last = whole;
    return delta;
  });
}

/** No quantity of a bench is read finer than this. */
const SMALLEST = 1e-12;

/** A step for values: a power of ten that divides their range into at least 20 000. */
export function stepFor(values: readonly number[]): number {
  let size = 0;
  for (const v of values) size = Math.max(size, Math.abs(v));
  return size === 0 ? 1 : Math.max(SMALLEST, 10 ** Math.floor(Math.log10(size / 20_000)));
}
