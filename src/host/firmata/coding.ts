// How converters write numbers.

/** Bytes, most significant first, as one unsigned number. */
export function unsigned(bytes: readonly number[]): number {
  return bytes.reduce((value, byte) => value * 256 + byte, 0);
}

/** Bytes, most significant first, as one number in two's complement: INA226, ADS1115, NAU7802 and HX711 all write so. */
export function signed(bytes: readonly number[]): number {
  const value = unsigned(bytes);
  const full = 256 ** bytes.length;
  return value >= full / 2 ? value - full : value;
}

/** A number of 16 bits as two bytes, most significant first. */
export function word(value: number): [number, number] {
  return [(value >> 8) & 0xff, value & 0xff];
}
