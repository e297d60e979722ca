/** Dates as RFC 3339 writes them ("Date and Time on the Internet: Timestamps", 2002, section 5.6). */

const DATE =
  /^(\d{4})-(\d{2})-(\d{2})(?:[Tt](\d{2}):(\d{2}):(\d{2})(?:\.\d+)?(?:[Zz]|[+-](\d{2}):(\d{2})))?$/;

/** Days of a month of the Gregorian calendar; 0 for a month there is none of. */
function daysIn(year: number, month: number): number {
  if (month < 1 || month > 12) return 0;
  const isLeap = (year % 4 === 0 && year % 100 !== 0) || year % 400 === 0;
  return [31, isLeap ? 29 : 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31][month - 1]!;
}

/** Whether a text is a full date, or a date with time and offset, that the calendar and the clock have. */
export function isRecordDate(text: string): boolean {
  const parts = DATE.exec(text);
  if (parts === null) return false;
  const [year, month, day, hour, minute, second, offsetHour, offsetMinute] = parts
    .slice(1)
    .map((part) => Number((part as string | undefined) ?? 0)) as [
    number,
    number,
    number,
    number,
    number,
    number,
    number,
    number,
  ];
  const isDay = day >= 1 && day <= daysIn(year, month);
  // Appendix D of the RFC: a leap second is the 61st of a minute.
  const isTime = hour < 24 && minute < 60 && second <= 60;
  return isDay && isTime && offsetHour < 24 && offsetMinute < 60;
}
