/** The process as a terminal: width, colour, progress, and output that may end early. */

import { reasonOf } from './failures.js';

/** Columns of text that goes to a pipe or a file. */
const PIPED_WIDTH = 100;

export interface Terminal {
  readonly width: number;
  readonly colour: boolean;
  /** Whether a person is looking: timelines are drawn for a person only. */
  readonly drawings: boolean;
}

export function describeTerminal(
  stream: { readonly isTTY?: boolean; readonly columns?: number },
  environment: Readonly<Record<string, string | undefined>>,
): Terminal {
  const isTerminal = stream.isTTY === true;
  const asked = Number(environment['COLUMNS']);
  const hasAsked = Number.isSafeInteger(asked) && asked > 0;
  const isPlain = (environment['NO_COLOR'] ?? '') !== '' || environment['TERM'] === 'dumb';
  return {
    // A terminal knows its own width better than an exported COLUMNS that an earlier resize left behind.
    width: (isTerminal ? stream.columns : undefined) ?? (hasAsked ? asked : PIPED_WIDTH),
    colour: isTerminal && !isPlain,
    drawings: isTerminal,
  };
}

export interface Progress {
  /** Replaces the line shown so far. */
  show(text: string): void;
  /** Removes it; anything may be printed afterwards. */
  clear(): void;
}

/** Progress on standard error, for a terminal only. */
export function startProgress(quiet: boolean): Progress {
  if (quiet || process.stderr.isTTY !== true) {
    return { show: () => undefined, clear: () => undefined };
  }
  const erase = '\r\u001b[2K';
  return {
    show: (text) => process.stderr.write(`${erase}${text}`),
    clear: () => process.stderr.write(erase),
  };
}

/**
 * A reader that has seen enough (`settle … | head`) closes the pipe: that is no error of this program. Anything else
 * that goes wrong on standard output is reported once, as a file that cannot be written.
 */
export function watchStandardOutput(unusableStatus: number): void {
  process.stdout.on('error', (error: NodeJS.ErrnoException) => {
    if (error.code === 'EPIPE') process.exit();
    process.stderr.write(
      `settle: cannot write to standard output: ${reasonOf(error)}; free it and run again.\n`,
    );
    process.exit(unusableStatus);
  });
  process.stderr.on('error', () => {
    // Nobody is left to tell.
  });
}
