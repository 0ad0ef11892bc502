// Quantities: read, convert, show. A leaf: it imports nothing.
export { DIMENSIONS, DIMENSION_NAMES, quantity, type Dimension, type Quantity } from './dimensions';
export { GRAM_FORCE, INCH, STANDARD_GRAVITY, UNITS, findUnit, suggestUnit, unitsOf, type Unit } from './table';
export { UnitError, acceptedOf, convert, of, parseAny, parseQuantity, parseRange, NUMBER_PATTERN, type AnyQuantity, type Parsed, type Range, type UnitProblem } from './parse';
export { fileText, formatMeasured, formatNumber, formatQuantity, shownUnit } from './format';
