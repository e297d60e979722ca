/** A header taken apart. */
export interface HeaderWords {
  /** Lower-case words in order, digits as words of their own, brackets left out. */
  readonly words: readonly string[];
  /** Texts that stood in brackets or after a comma, in order: units, as a rule. */
  readonly bracketed: readonly string[];
}

const GREEK: ReadonlyMap<string, string> = new Map([
  ['φ', 'phi'],
  ['ϕ', 'phi'],
  ['Φ', 'phi'],
  ['θ', 'theta'],
  ['ϑ', 'theta'],
  ['Θ', 'theta'],
  ['ψ', 'psi'],
  ['Ψ', 'psi'],
  ['ω', 'omega'],
  ['Ω', 'omega'],
]);

/** A longer header is prose; its beginning is enough to find that it says nothing. */
const LONGEST_HEADER = 200;

/**
 * Splits a header into words: `rollRate_sp [deg/s]` is roll, rate, sp with deg/s in brackets; camel case,
 * underscores, dots and indices in brackets come apart alike.
 */
export function splitHeader(header: string): HeaderWords {
  const bracketed: string[] = [];
  let text = header.slice(0, LONGEST_HEADER).normalize('NFC').trim();
  // `gyro[0]` and `motor(3)` are indices, not units.
  text = text.replace(/[[({<]\s*([^\])}>]*?)\s*[\])}>]/g, (_, inside: string) => {
    if (/^\s*(?:\d{1,2}|[xyz]|[pqr]|roll|pitch|yaw)\s*$/i.test(inside)) return ` ${inside} `;
    bracketed.push(inside);
    return ' ';
  });
  const comma = /^(.*\S)\s*[,/]\s+(\S.*)$/.exec(text);
  if (comma) {
    bracketed.push(comma[2]!);
    text = comma[1]!;
  }
  return { words: splitWords(text), bracketed };
}

/** Splits a text into lower-case words at separators, camel case and digits. */
export function splitWords(text: string): string[] {
  const spelled = text
    .replace(/[φϕΦθϑΘψΨωΩ]/g, (letter) => ` ${GREEK.get(letter) ?? letter} `)
    .replace(/([\p{Ll}\d])(\p{Lu})/gu, '$1 $2')
    .replace(/(\p{Lu}+)(\p{Lu}\p{Ll})/gu, '$1 $2')
    .toLowerCase();
  return spelled.match(/\p{L}+|\d+|%/gu) ?? [];
}
