import { existsSync } from 'node:fs';
import { resolve } from 'node:path';
import type { TestContext } from 'vitest';

/**
 * Absolute path of a file of the open data, which live outside the project in the folder that the environment variable
 * SETTLE_OPEN_DATA names. Skips the running test, saying why, where the variable is not set or the file is not there.
 *
 * @param path for instance `nist/LEW.DAT`
 * @param test the context vitest hands to the running test
 */
export function openData(path: string, test: Pick<TestContext, 'skip'>): string {
  const folder = process.env['SETTLE_OPEN_DATA'];
  if (folder === undefined || folder === '') {
    return skip(test, `open data ${path} not read: the environment variable SETTLE_OPEN_DATA is not set`);
  }
  const file = resolve(folder, path);
  if (!existsSync(file)) return skip(test, `open data ${path} not read: it is not in SETTLE_OPEN_DATA`);
  return file;
}

/** The short reporter prints only how many tests were skipped: the reason goes to stderr too. */
function skip(test: Pick<TestContext, 'skip'>, why: string): never {
  process.stderr.write(`skipped: ${why}\n`);
  return test.skip(why);
}
