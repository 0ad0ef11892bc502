/**
 * Seeded random numbers. The generator is xoshiro128** (Blackman and Vigna, 2018, public domain recipe); normals come from
 * the ziggurat method (Marsaglia and Tsang, J. Stat. Software 5(8), 2000). Same seed and stream, same numbers, always.
 */

const LAYERS = 128;
const TAIL_START = 3.442619855899;
const LAYER_AREA = 9.91256303526217e-3;
const INT_SPAN = 2147483648;

const layerLimit = new Int32Array(LAYERS);
const layerScale = new Float64Array(LAYERS);
const layerHeight = new Float64Array(LAYERS);
fillZiggurat();

function fillZiggurat(): void {
  let x = TAIL_START;
  let outer = TAIL_START;
  const base = LAYER_AREA / Math.exp(-0.5 * x * x);
  layerLimit[0] = (x / base) * INT_SPAN;
  layerLimit[1] = 0;
  layerScale[0] = base / INT_SPAN;
  layerScale[LAYERS - 1] = x / INT_SPAN;
  layerHeight[0] = 1;
  layerHeight[LAYERS - 1] = Math.exp(-0.5 * x * x);
  for (let layer = LAYERS - 2; layer >= 1; layer--) {
    x = Math.sqrt(-2 * Math.log(LAYER_AREA / x + Math.exp(-0.5 * x * x)));
    layerLimit[layer + 1] = (x / outer) * INT_SPAN;
    outer = x;
    layerHeight[layer] = Math.exp(-0.5 * x * x);
    layerScale[layer] = x / INT_SPAN;
  }
}

/** Independent streams of one seed, so that a change in one use never shifts the numbers of another. */
export const STREAM = { calibration: 1, mounting: 2, noise: 3, drive: 4 } as const;

/** A seeded generator; two instances with the same seed and stream give the same sequence. */
export class Rng {
  private a = 0;
  private b = 0;
  private c = 0;
  private d = 0;

  /** @param seed any number, used as a 32-bit integer. @param stream separates independent uses of one seed. */
  constructor(seed: number, stream = 0) {
    let mix = (Math.imul(seed | 0, 0x9e3779b1) ^ Math.imul(stream | 0, 0x85ebca6b)) | 0;
    const next = (): number => {
      mix = (mix + 0x6d2b79f5) | 0;
      let z = mix;
      z = Math.imul(z ^ (z >>> 16), 0x21f0aaad);
      z = Math.imul(z ^ (z >>> 15), 0x735a2d97);
      return z ^ (z >>> 15);
    };
    this.a = next();
    this.b = next();
    this.c = next();
    this.d = next() | 1;
    for (let warm = 0; warm < 12; warm++) this.int32();
  }

  /** Signed 32-bit integer, uniform. */
  int32(): number {
    const scrambled = Math.imul(this.b, 5);
    const result = Math.imul((scrambled << 7) | (scrambled >>> 25), 9);
    const shifted = this.b << 9;
    this.c ^= this.a;
    this.d ^= this.b;
    this.b ^= this.c;
    this.a ^= this.d;
    this.c ^= shifted;
    this.d = (this.d << 11) | (this.d >>> 21);
    return result;
  }

  /** Uniform in [0, 1) with 32 bits. */
  uniform(): number {
    return (this.int32() >>> 0) / 4294967296;
  }

  /** Standard normal. */
  normal(): number {
    const value = this.int32();
    const layer = value & (LAYERS - 1);
    if (Math.abs(value) < layerLimit[layer]) return value * layerScale[layer];
    return this.normalSlow(value, layer);
  }

  private normalSlow(firstValue: number, firstLayer: number): number {
    let value = firstValue;
    let layer = firstLayer;
    for (;;) {
      const x = value * layerScale[layer];
      if (layer === 0) return value > 0 ? this.tail() : -this.tail();
      const height = layerHeight[layer] + this.uniform() * (layerHeight[layer - 1] - layerHeight[layer]);
      if (height < Math.exp(-0.5 * x * x)) return x;
      value = this.int32();
      layer = value & (LAYERS - 1);
      if (Math.abs(value) < layerLimit[layer]) return value * layerScale[layer];
    }
  }

  private tail(): number {
    for (;;) {
      const x = -Math.log(1 - this.uniform()) / TAIL_START;
      const y = -Math.log(1 - this.uniform());
      if (y + y >= x * x) return TAIL_START + x;
    }
  }
}
