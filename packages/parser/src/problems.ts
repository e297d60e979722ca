import type { LogProblem } from './flight.js';
import { quote } from './log-error.js';

/** Collects what is wrong with a log; the same thing in many places is one problem with a count. */
export class ProblemList {
  readonly #byKey = new Map<
    string,
    { file: string; line: number | null; column: string | null; message: string; count: number }
  >();

  /**
   * @param key problems of one file and column with the same key are counted together
   * @param message wording of the first one; the place is the first one's too
   */
  add(
    file: string,
    key: string,
    message: string,
    place: { line?: number | null; column?: string | null } = {},
    count = 1,
  ): void {
    const id = JSON.stringify([file, key, place.column ?? null]);
    const known = this.#byKey.get(id);
    if (known) known.count += count;
    else
      this.#byKey.set(id, {
        file,
        line: place.line ?? null,
        column: place.column === undefined || place.column === null ? null : quote(place.column),
        message,
        count,
      });
  }

  list(): readonly LogProblem[] {
    return [...this.#byKey.values()];
  }
}
