// Repeatable choice: the same seed gives the same dither and the same order, in every run and on every machine.

/**
 * Numbers in [0, 1), as a function of the seed alone. The state is a counter that steps by the golden ratio of 2³² and
 * is mixed by two multiply-xorshift rounds; good enough to spread a dither, not meant for statistics or secrets.
 */
export function uniform(seed: number): () => number {
  let counter = seed >>> 0;
  return () => {
    counter = (counter + 0x9e3779b9) >>> 0;
    let x = counter;
    x = Math.imul(x ^ (x >>> 16), 0x21f0aaad);
    x = Math.imul(x ^ (x >>> 15), 0x735a2d97);
    return ((x ^ (x >>> 15)) >>> 0) / 2 ** 32;
  };
}

/** A copy in an order that depends on `next` alone (Fisher and Yates, from the end). */
export function shuffled<T>(items: readonly T[], next: () => number): T[] {
  const out = [...items];
  for (let last = out.length - 1; last > 0; last--) {
    const pick = Math.floor(next() * (last + 1));
    [out[last], out[pick]] = [out[pick], out[last]] as [T, T];
  }
  return out;
}
