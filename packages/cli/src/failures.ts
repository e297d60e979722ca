/**
 * What can go wrong, as exit statuses and lines for a person. Everything expected is a `Failure` (or an error of a
 * lower package that is told apart by name, so that this module loads nothing heavy); anything else is a defect.
 */

export const EXIT = {
  analysed: 0,
  defect: 1,
  unusable: 2,
  cannotAnalyse: 3,
} as const;

export type ExitStatus = (typeof EXIT)[keyof typeof EXIT];

/** Bad usage, or a file that cannot be read or written. */
export class Failure extends Error {
  override readonly name = 'Failure';
  /** What the person can do about it. */
  readonly next: string;

  constructor(message: string, next: string) {
    super(message);
    this.next = next;
  }
}

export interface FailureReport {
  readonly status: ExitStatus;
  /** One line per problem. */
  readonly lines: readonly string[];
  /** Text to print below the lines as it stands, such as a channel map to edit. */
  readonly attachment: string | null;
}

interface LogErrorShape extends Error {
  readonly oneLine: string;
  readonly candidateMap?: unknown;
}

function isLogError(error: Error): error is LogErrorShape {
  return error.name === 'LogError' && 'oneLine' in error && typeof error.oneLine === 'string';
}

function isCannotAnalyse(error: Error): error is Error & { readonly next: string } {
  return error.name === 'CannotAnalyse' && 'next' in error && typeof error.next === 'string';
}

/** A failure that was described where it happened, in another thread. */
export class ReportedFailure extends Error {
  override readonly name = 'ReportedFailure';
  readonly report: FailureReport;

  constructor(report: FailureReport) {
    super(report.lines[0] ?? 'failed');
    this.report = report;
  }
}

/** Message and next step as one line that ends in a full stop. */
function oneLine(message: string, next: string): string {
  const end = /[.!?:]$/.test(next) ? '' : '.';
  return `${message.replace(/[.;]\s*$/, '')}; ${next}${end}`;
}

function attachmentOf(candidateMap: unknown): string | null {
  if (candidateMap === undefined || candidateMap === null) return null;
  return typeof candidateMap === 'string' ? candidateMap : JSON.stringify(candidateMap, null, 2);
}

export function describeFailure(error: unknown): FailureReport {
  if (error instanceof ReportedFailure) return error.report;
  if (error instanceof Failure) {
    return { status: EXIT.unusable, lines: [oneLine(error.message, error.next)], attachment: null };
  }
  if (error instanceof Error && isLogError(error)) {
    return {
      status: EXIT.unusable,
      lines: [error.oneLine],
      attachment: attachmentOf(error.candidateMap),
    };
  }
  if (error instanceof Error && isCannotAnalyse(error)) {
    return { status: EXIT.cannotAnalyse, lines: [oneLine(error.message, error.next)], attachment: null };
  }
  const message = error instanceof Error ? `${error.name}: ${error.message}` : String(error);
  return {
    status: EXIT.defect,
    lines: [
      `defect: ${message.split('\n')[0] ?? message}; the fault is in settle, not in your log: ` +
        'please report it with the command line (SETTLE_STACK=1 prints where it happened).',
    ],
    attachment: process.env['SETTLE_STACK'] === '1' && error instanceof Error ? (error.stack ?? null) : null,
  };
}

/** The operating system's reason, in words; its code where there is no word here. */
export function reasonOf(error: unknown): string {
  const code = error instanceof Error && 'code' in error ? String(error.code) : '';
  const reasons: Readonly<Record<string, string>> = {
    ENOENT: 'there is no such file or directory',
    EACCES: 'permission denied',
    EPERM: 'permission denied',
    ENOTDIR: 'part of the path is not a directory',
    EISDIR: 'it is a directory',
    ENOSPC: 'no space is left',
    EROFS: 'the file system is read-only',
    ENAMETOOLONG: 'the name is too long',
    ELOOP: 'too many links point at one another',
    EMFILE: 'too many files are open',
    EIO: 'the device reports an error',
    ERR_FS_FILE_TOO_LARGE: 'it is larger than 2 GiB',
  };
  return reasons[code] ?? (code === '' ? String(error) : `the system reports ${code}`);
}
