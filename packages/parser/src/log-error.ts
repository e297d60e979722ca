/** Where in a log (or a channel map) something stands. */
export interface Place {
  readonly file?: string | null;
  /** From 1, header included. */
  readonly line?: number | null;
  /** From 1, in the line; for files that are no tables. */
  readonly character?: number | null;
  /** Header text, `column N`, or the path of an entry of a channel map or a gains file. */
  readonly column?: string | null;
}

/** Longest piece of a log's own text repeated in a message: a message stays one readable line. */
const QUOTE_LENGTH = 60;

/** The input cannot be read as asked; says where, why, and what to do about it. */
export class LogError extends Error {
  /** Stable, kebab-case. */
  readonly code: string;
  readonly file: string | null;
  readonly line: number | null;
  readonly character: number | null;
  readonly column: string | null;
  /** What to do. */
  readonly next: string;
  /** Channel map to edit (JSON text), where naming channels or units would solve it. */
  readonly candidateMap?: string;

  constructor(code: string, message: string, next: string, place: Place = {}, candidateMap?: string) {
    super(singleLine(message));
    this.name = 'LogError';
    this.code = code;
    this.file = place.file ?? null;
    this.line = place.line ?? null;
    this.character = place.character ?? null;
    this.column = place.column ?? null;
    this.next = singleLine(next);
    if (candidateMap !== undefined) this.candidateMap = candidateMap;
  }

  /** `FILE:LINE:CHARACTER: COLUMN: message; what to do`, without the parts that are not known. */
  get oneLine(): string {
    const numbers = [this.line, this.character].filter((part) => part !== null);
    const where = [
      this.file === null ? '' : [singleLine(this.file), ...numbers].join(':'),
      this.column === null ? '' : quote(this.column),
    ].filter((part) => part !== '');
    return [...where, `${this.message}; ${this.next}`].join(': ');
  }
}

/** Text of the log as it may stand in a message: one line, no control characters, cut to a readable length. */
export function quote(text: string): string {
  const line = singleLine(text.slice(0, 4 * QUOTE_LENGTH));
  return line.length <= QUOTE_LENGTH ? line : `${line.slice(0, QUOTE_LENGTH - 1)}…`;
}

function singleLine(text: string): string {
  // Control characters would let a log write over the user's terminal.
  // eslint-disable-next-line no-control-regex
  return text.replace(/[\u0000-\u001f\u007f-\u009f\u2028\u2029]+/g, ' ').trim();
}
