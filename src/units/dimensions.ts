// The physical dimensions that bench files know, each with the unit that code computes in.

/**
 * Dimension → unit of the numbers in code (SI, or the trade's unit where SI would mislead), an example that a file may
 * hold, and what a person calls it.
 */
export const DIMENSIONS = {
  current: { unit: 'A', example: '1 A', name: 'a current' },
  voltage: { unit: 'V', example: '4 V', name: 'a voltage' },
  resistance: { unit: 'ohm', example: '8 mohm', name: 'a resistance' },
  inductance: { unit: 'H', example: '20 uH', name: 'an inductance' },
  power: { unit: 'W', example: '6 W', name: 'a power' },
  energy: { unit: 'J', example: '7.6 Wh', name: 'an energy' },
  charge: { unit: 'C', example: '850 mAh', name: 'a charge' },
  time: { unit: 's', example: '400 ms', name: 'a time' },
  frequency: { unit: 'Hz', example: '22 kHz', name: 'a frequency' },
  angle: { unit: 'deg', example: '8 deg', name: 'an angle' },
  temperature: { unit: 'degC', example: '35 °C', name: 'a temperature' },
  temperature_difference: { unit: 'K', example: '10 K', name: 'a temperature difference' },
  temperature_rate: { unit: 'K/s', example: '20 K/s', name: 'a rate of temperature' },
  speed: { unit: 'rpm', example: '4500 rpm', name: 'a speed of rotation' },
  kv: { unit: 'rpm/V', example: '4500 rpm/V', name: 'a speed per volt' },
  acceleration: { unit: 'rpm/s', example: '50000 rpm/s', name: 'an acceleration' },
  ratio: { unit: '1', example: '10 %', name: 'a share' },
  ratio_rate: { unit: '1/s', example: '200 %/s', name: 'a rate of change' },
  force: { unit: 'N', example: '131 gf', name: 'a force' },
  torque: { unit: 'N m', example: '5 mN m', name: 'a torque' },
  mass: { unit: 'kg', example: '120 g', name: 'a mass' },
  length: { unit: 'm', example: '76 mm', name: 'a length' },
  pressure: { unit: 'Pa', example: '1013 hPa', name: 'a pressure' },
  efficacy: { unit: 'N/W', example: '4.5 g/W', name: 'a thrust per watt' },
} as const;

export type Dimension = keyof typeof DIMENSIONS;
export const DIMENSION_NAMES = Object.keys(DIMENSIONS) as Dimension[];

declare const dimensionOf: unique symbol;
/** A number in the code unit of its dimension. It is an ordinary number to arithmetic; the mark keeps volts out of amperes. */
export type Quantity<D extends Dimension> = number & { readonly [dimensionOf]: D };

/** Marks a number that is known to be in the code unit of the dimension. */
export function quantity<D extends Dimension>(_dimension: D, value: number): Quantity<D> {
  return value as Quantity<D>;
}
