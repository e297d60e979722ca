/** What one cell of a log holds. */
export type CellKind = 'empty' | 'number' | 'not-finite' | 'stamp' | 'text';

/** A point in time to the nanosecond: whole seconds since 1970-01-01T00:00:00Z (or midnight) and the rest. */
export interface Stamp {
  readonly wholeS: number;
  readonly fractionS: number;
  /** False for a bare time of day. */
  readonly dated: boolean;
}

const MISSING = /^(?:-?\+?nan(?:\(ind\))?|n\/?a|null|none|nil|missing|-{1,3}|\?|\.|-?1\.#(?:qnan|ind)\d*)$/i;
const INFINITE = /^([-+]?)(?:inf(?:inity)?|∞|1\.#inf\d*)$/i;
const NUMBER = /^[-+]?(?:\d+\.?\d*|\.\d+)(?:[eEdD][-+]?\d+)?$/;
const COMMA_NUMBER = /^[-+]?(?:\d+,\d*|,\d+)(?:[eEdD][-+]?\d+)?$/;
const STAMP =
  /^(\d{4})([-/]?)(\d{2})\2(\d{2})(?:[T_ ]\s*(\d{2}):?(\d{2})(?::?(\d{2})(?:[.,](\d+))?)?)\s*(Z|UTC|[-+]\d{2}(?::?\d{2})?)?$/i;
const TIME_OF_DAY = /^(\d{2}):(\d{2}):(\d{2})(?:[.,](\d+))?\s*(?:Z|UTC)?$/i;

/** Cheap test that keeps `parseStamp` away from cells that cannot be one. */
const STAMP_LENGTH = { least: 8, most: 45 };

/**
 * Number of a cell: plain decimal or exponent notation, with a decimal point or (if allowed) a decimal comma.
 * Hexadecimal and the like are text, unlike JavaScript's own conversion.
 *
 * @returns ±Infinity where the cell says so; NaN if the cell is no number or a word for "missing"
 */
export function parseNumber(cell: string, decimalComma: boolean): number {
  const text = cell.trim().replace(/^[\u2212\u2013]/, '-');
  if (NUMBER.test(text)) return Number(text.replace(/[dD]/, 'e'));
  if (decimalComma && COMMA_NUMBER.test(text)) return Number(text.replace(',', '.').replace(/[dD]/, 'e'));
  const infinite = INFINITE.exec(text);
  return infinite ? (infinite[1] === '-' ? -Infinity : Infinity) : NaN;
}

/** Whether the text is a number written with a decimal comma. */
export function isCommaNumber(cell: string): boolean {
  return COMMA_NUMBER.test(cell.trim());
}

/** Whether the text is a number written with a decimal point. */
export function isPointNumber(cell: string): boolean {
  return cell.includes('.') && NUMBER.test(cell.trim());
}

export function classifyCell(cell: string, decimalComma: boolean): CellKind {
  const text = cell.trim();
  if (text === '') return 'empty';
  const value = parseNumber(text, decimalComma);
  if (Number.isFinite(value)) return 'number';
  if (value === Infinity || value === -Infinity || MISSING.test(text)) return 'not-finite';
  return parseStamp(text) ? 'stamp' : 'text';
}

/**
 * ISO 8601 date and time, as profiled by RFC 3339 section 5.6 (also with a space, without a zone, in basic format or
 * with slashes), or a bare time of day. A second of 60 is a leap second and counts as the next second, as Unix time
 * does. A stamp without a zone is taken as UTC: only differences matter here.
 *
 * @returns null if the cell is no such stamp
 */
export function parseStamp(cell: string): Stamp | null {
  const text = cell.trim();
  if (text.length < STAMP_LENGTH.least || text.length > STAMP_LENGTH.most) return null;
  const day = TIME_OF_DAY.exec(text);
  if (day) {
    const [hour, minute, second] = [Number(day[1]), Number(day[2]), Number(day[3])];
    if (hour > 23 || minute > 59 || second > 60) return null;
    return { wholeS: hour * 3600 + minute * 60 + second, fractionS: fraction(day[4]), dated: false };
  }
  const match = STAMP.exec(text);
  if (!match) return null;
  const [year, month, date] = [Number(match[1]), Number(match[3]), Number(match[4])];
  const [hour, minute, second] = [Number(match[5]), Number(match[6]), Number(match[7] ?? 0)];
  if (hour > 23 || minute > 59 || second > 60) return null;
  const midnight = new Date(0);
  midnight.setUTCFullYear(year, month - 1, date);
  if (midnight.getUTCMonth() !== month - 1 || midnight.getUTCDate() !== date) return null;
  const zoneS = zoneOffset(match[9]);
  if (zoneS === null) return null;
  const wholeS = midnight.getTime() / 1000 + hour * 3600 + minute * 60 + second - zoneS;
  return { wholeS, fractionS: fraction(match[8]), dated: true };
}

function fraction(digits: string | undefined): number {
  return digits === undefined ? 0 : Number(`0.${digits}`);
}

function zoneOffset(zone: string | undefined): number | null {
  if (zone === undefined || /^(?:Z|UTC)$/i.test(zone)) return 0;
  const hour = Number(zone.slice(1, 3));
  const minute = Number(zone.slice(3).replace(':', '') || 0);
  if (hour > 23 || minute > 59) return null;
  return (zone.startsWith('-') ? -1 : 1) * (hour * 3600 + minute * 60);
}
