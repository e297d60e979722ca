/**
 * Numbers as a person should read them: no more digits than the uncertainty supports, no exponent notation in the
 * range that occurs here, and a plain word where there is no number.
 */

/** Printed in place of a number that is absent or not finite. */
export const NO_VALUE = 'n/a';

const MOST_DECIMALS = 6;

/**
 * Decimal places that a standard deviation supports.
 *
 * Rule of the Particle Data Group (Review of Particle Physics, introduction; from memory): of the three leading
 * digits of the standard deviation, 100–354 keep two digits, 355–949 keep one, 950–999 round up to 1000 and keep two.
 *
 * @param std standard deviation, positive and finite
 * @returns decimal places; negative when tens or hundreds are to be rounded
 */
export function decimalsFor(std: number): number {
  const exponent = Math.floor(Math.log10(std));
  const leading = Math.round(std / 10 ** (exponent - 2));
  // 950–999 keep two digits of the next power of ten, which is the same place as one digit of this one.
  return leading <= 354 ? 1 - exponent : -exponent;
}

function fixed(value: number, decimals: number): string {
  const places = Math.min(decimals, MOST_DECIMALS);
  const rounded = places < 0 ? Math.round(value / 10 ** -places) * 10 ** -places : value;
  const text = rounded.toFixed(Math.max(places, 0));
  // "-0.00" would claim a sign that the rounding has just thrown away.
  return Number(text) === 0 ? text.replace('-', '') : text;
}

/**
 * `value ± std`, both to the digits that `std` supports. Without a usable `std` (null, zero, not finite) the value
 * alone, to three significant digits.
 */
export function formatEstimate(value: number | null, std: number | null): string {
  if (value === null || !Number.isFinite(value)) return NO_VALUE;
  if (std === null || !Number.isFinite(std) || std <= 0) return formatSignificant(value);
  const decimals = decimalsFor(std);
  // A standard deviation below what we print would read "± 0.000000"; say that it is smaller than the last digit.
  if (decimals > MOST_DECIMALS)
    return `${fixed(value, MOST_DECIMALS)} ± <${(10 ** -MOST_DECIMALS).toFixed(MOST_DECIMALS)}`;
  return `${fixed(value, decimals)} ± ${fixed(std, decimals)}`;
}

/** The value alone, to the digits that `std` supports and three at most: for prose, where the table beside it carries the `±`. */
export function formatValue(value: number | null, std: number | null): string {
  if (value === null || !Number.isFinite(value)) return NO_VALUE;
  if (std === null || !Number.isFinite(std) || std <= 0) return formatSignificant(value);
  const decimals = decimalsFor(std);
  return value === 0 || decimals <= 2 - Math.floor(Math.log10(Math.abs(value)))
    ? fixed(value, decimals)
    : formatSignificant(value);
}

/** To `digits` significant digits, without exponent: 0.1234 → 0.123, 12345 → 12300 for three. */
export function formatSignificant(value: number | null, digits = 3): string {
  if (value === null || !Number.isFinite(value)) return NO_VALUE;
  if (value === 0) return '0';
  const exponent = Math.floor(Math.log10(Math.abs(value)));
  return fixed(value, digits - 1 - exponent);
}

/** A sample rate in Hz to four significant digits, without trailing zeros: 100, 99.6, 20480. */
export function formatRate(rateHz: number): string {
  if (!Number.isFinite(rateHz)) return NO_VALUE;
  return rateHz >= 1000 ? String(Math.round(rateHz)) : String(Number(rateHz.toPrecision(4)));
}

/** With its sign in front, plus included, so that growing and dying cannot be confused. */
export function formatSigned(value: number, std: number | null): string {
  const text = formatEstimate(value, std);
  return value > 0 && text !== NO_VALUE && Number.parseFloat(text) !== 0 ? `+${text}` : text;
}

/** A time of the flight in s, to a tenth: finer says nothing to the eye, and clocks of log groups differ by that. */
export function formatTime(seconds: number): string {
  return Number.isFinite(seconds) ? fixed(seconds, 1) : NO_VALUE;
}

/** A share 0…1 as whole per cent. Certainty is never printed: 0 and 100 % belong to exact 0 and 1 alone. */
export function formatPercent(share: number): string {
  if (!Number.isFinite(share)) return NO_VALUE;
  const rounded = Math.round(share * 100);
  if (rounded >= 100 && share < 1) return '99';
  if (rounded <= 0 && share > 0) return '1';
  return String(rounded);
}

/** How sure, in words that never claim certainty: an estimate of 1 is still an estimate. */
export function formatSureness(confidence: number): string {
  return `${formatPercent(Math.min(confidence, 0.99))} %`;
}

/** Bytes in the unit a person would choose: `812 B`, `4.1 kB`, `23 MB` (powers of 1000). */
export function formatBytes(bytes: number): string {
  if (bytes < 1000) return `${bytes} B`;
  const units = ['kB', 'MB', 'GB'];
  let scaled = bytes / 1000;
  let index = 0;
  while (scaled >= 1000 && index < units.length - 1) {
    scaled /= 1000;
    index += 1;
  }
  return `${formatSignificant(scaled, 2)} ${units[index] ?? 'GB'}`;
}
