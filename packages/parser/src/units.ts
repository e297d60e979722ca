/** What kind of quantity a unit measures. */
export type Dimension =
  | 'angle'
  | 'angular-rate'
  | 'acceleration'
  | 'time'
  | 'ratio'
  | 'rotation'
  | 'length'
  | 'voltage'
  | 'current';

export interface Unit {
  /** As shown to the user and accepted in a channel map. */
  readonly name: string;
  readonly dimension: Dimension;
  /** SI value (rad, rad/s, m/s², s, 1, rev/s, m, V, A) of one of this unit. */
  readonly scale: number;
}

/** Standard gravity, exact by definition (ISO 80000-3). */
export const STANDARD_GRAVITY = 9.80665;
export const DEGREE = Math.PI / 180;

const FOOT = 0.3048;

/** Name, dimension, scale, and the spellings of the unit once `reduce` has stripped signs and separators. */
const TABLE: readonly (readonly [string, Dimension, number, string])[] = [
  ['rad', 'angle', 1, 'rad rads radian radians'],
  ['deg', 'angle', DEGREE, 'deg degs degree degrees'],
  ['mrad', 'angle', 1e-3, 'mrad milliradian milliradians'],
  ['0.01 deg', 'angle', DEGREE / 100, 'cdeg centideg centidegree centidegrees 001deg'],
  [
    'rad/s',
    'angular-rate',
    1,
    'rad/s rads/s rad/sec rad/second radian/s radian/second radians/s radians/second',
  ],
  [
    'deg/s',
    'angular-rate',
    DEGREE,
    'deg/s degs/s deg/sec deg/second degree/s degrees/s degree/second degrees/second dps',
  ],
  ['mrad/s', 'angular-rate', 1e-3, 'mrad/s mrad/sec milliradian/s milliradians/s'],
  ['mdeg/s', 'angular-rate', DEGREE / 1000, 'mdeg/s mdps millideg/s'],
  ['0.01 deg/s', 'angular-rate', DEGREE / 100, 'cdeg/s centideg/s centidegrees/s cdps 001deg/s'],
  ['m/s²', 'acceleration', 1, 'm/s2 m/s/s mps2 mpss meter/s2 metre/s2 m/sec2 ms-2'],
  ['cm/s²', 'acceleration', 0.01, 'cm/s2 cm/s/s'],
  ['g', 'acceleration', STANDARD_GRAVITY, 'g gs gn g0 gee gees'],
  ['mg', 'acceleration', STANDARD_GRAVITY / 1000, 'mg millig milligee'],
  ['s', 'time', 1, 's sec secs second seconds'],
  ['ms', 'time', 1e-3, 'ms msec msecs millis millisec millisecond milliseconds'],
  ['us', 'time', 1e-6, 'us usec usecs micros microsec microsecond microseconds'],
  ['ns', 'time', 1e-9, 'ns nsec nsecs nanos nanosec nanosecond nanoseconds'],
  ['min', 'time', 60, 'min minute minutes'],
  ['1', 'ratio', 1, '1 unitless dimensionless norm normalised normalized ratio 0..1 01 -1..1 0-1'],
  ['%', 'ratio', 0.01, '% pct percent pcnt perc 0..100 0-100'],
  ['rpm', 'rotation', 1 / 60, 'rpm rev/min r/min revs/min 1/min min-1'],
  ['rev/s', 'rotation', 1, 'rev/s revs/s rps hz hertz 1/s s-1'],
  ['m', 'length', 1, 'm meter meters metre metres'],
  ['cm', 'length', 0.01, 'cm centimeter centimeters centimetre centimetres'],
  ['mm', 'length', 1e-3, 'mm millimeter millimeters millimetre millimetres'],
  ['ft', 'length', FOOT, 'ft feet foot'],
  ['V', 'voltage', 1, 'v volt volts'],
  ['mV', 'voltage', 1e-3, 'mv millivolt millivolts'],
  ['A', 'current', 1, 'a amp amps ampere amperes'],
  ['mA', 'current', 1e-3, 'ma milliamp milliamps milliampere'],
];

const BY_SPELLING = new Map<string, Unit>(
  TABLE.flatMap(([name, dimension, scale, spellings]) =>
    spellings.split(' ').map((spelling): [string, Unit] => [spelling, { name, dimension, scale }]),
  ),
);
/** Spellings as a header's suffix has them, where the stroke is lost: `deg_s`, `m_s2`. */
const BY_SUFFIX = new Map<string, Unit>(
  [...BY_SPELLING]
    .filter(([spelling]) => /[a-z]/.test(spelling) && !/^1\//.test(spelling) && !spelling.endsWith('-1'))
    .flatMap(([spelling, unit]): [string, Unit][] => [
      [spelling.replaceAll('/', ''), unit],
      [spelling.replaceAll('/', 'per'), unit],
    ])
    .concat([
      ['mss', unitNamed('m/s²')],
      ['rads', unitNamed('rad/s')],
      ['degs', unitNamed('deg/s')],
    ]),
);

/** @throws RangeError if this module has no such unit */
export function unitNamed(name: string): Unit {
  const row = TABLE.find((candidate) => candidate[0] === name);
  if (!row) throw new RangeError(`no unit ${name}`);
  return { name, dimension: row[1], scale: row[2] };
}

/** Reads a unit as it stands in brackets, in a units row or in a channel map; null if it is none known here. */
export function parseUnit(text: string): Unit | null {
  return BY_SPELLING.get(reduce(text)) ?? null;
}

/**
 * Reads the unit at the end of a header's words, longest first: `gyro x deg s` ends in deg/s.
 *
 * @returns every reading, longest first, with the number of words it takes
 */
export function unitSuffixes(words: readonly string[]): readonly { unit: Unit; words: number }[] {
  const found: { unit: Unit; words: number }[] = [];
  for (let count = Math.min(5, words.length); count >= 1; count--) {
    const unit = BY_SUFFIX.get(words.slice(words.length - count).join(''));
    if (unit) found.push({ unit, words: count });
  }
  return found;
}

export function unitsOf(dimension: Dimension): readonly string[] {
  return TABLE.filter((row) => row[1] === dimension).map((row) => row[0]);
}

function reduce(text: string): string {
  return text
    .trim()
    .toLowerCase()
    .replace(/^[[({<]+|[\])}>]+$/g, '')
    .replace(/[µμ]/g, 'u')
    .replace(/[°º˚]/g, 'deg')
    .replaceAll('²', '2')
    .replaceAll('⁻', '-')
    .replaceAll('¹', '1')
    .replace(/\*\*|\^/g, '')
    .replace(/\s+per\s+|_per_/g, '/')
    .replace(/^(rad|deg|mrad|m)[\s·*.]*s[({]?-([12])[)}]?$/, (_, unit: string, power: string) =>
      power === '1' ? `${unit}/s` : `${unit}/s2`,
    )
    .replace(/\.(?!\.)(?<!\.\.)/g, '')
    .replace(/[\s_·*()]/g, '');
}
