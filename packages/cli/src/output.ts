/** Files the program writes: never over an input, never over anything without `--force`, never half. */

import { constants, promises as fs } from 'node:fs';
import path from 'node:path';
import { Failure, reasonOf } from './failures.js';
import { type FlightInput, hasLogExtension } from './flight-input.js';

const NEXT_NAME = 'give another name';

async function realPathOf(file: string): Promise<string> {
  try {
    return await fs.realpath(file);
  } catch {
    // Not there yet: the directory decides where it will be.
    const directory = await fs.realpath(path.dirname(path.resolve(file)));
    return path.join(directory, path.basename(file));
  }
}

async function exists(file: string): Promise<boolean> {
  try {
    await fs.lstat(file);
    return true;
  } catch {
    return false;
  }
}

/**
 * Checks, before any analysis, that every one of `files` may be written.
 *
 * @param settings files that were read beside the logs, such as the gains flown: no output may land on them either
 * @throws Failure when two are the same, or when one is an input, would be read as part of the flight next time, is there already without
 *   `force`, or has no directory to stand in
 */
export async function checkOutputs(
  files: readonly string[],
  input: Pick<FlightInput, 'realPaths' | 'directory'>,
  force: boolean,
  settings: readonly string[] = [],
): Promise<void> {
  const seen = new Set<string>();
  const realSettings = new Set(await Promise.all(settings.map(realPathOf)));
  for (const file of files) {
    const real = await checkOutput(file, input, force);
    if (realSettings.has(real))
      throw new Failure(`${file} was read for this flight, and what is read is never changed`, NEXT_NAME);
    if (seen.has(real)) throw new Failure(`${file} is named for two outputs`, NEXT_NAME);
    seen.add(real);
  }
}

/** @returns the real path of what would be written */
async function checkOutput(
  file: string,
  input: Pick<FlightInput, 'realPaths' | 'directory'>,
  force: boolean,
): Promise<string> {
  let real: string;
  try {
    real = await realPathOf(file);
  } catch (error) {
    throw new Failure(`cannot write ${file}: ${reasonOf(error)}`, 'create the directory first');
  }
  if (input.realPaths.has(real)) {
    throw new Failure(`${file} is one of the logs, and logs are never changed`, NEXT_NAME);
  }
  if (input.directory === path.dirname(real) && hasLogExtension(real)) {
    throw new Failure(`${file} would be taken for a log of that flight next time`, NEXT_NAME);
  }
  if (!(await exists(file))) return real;
  if ((await fs.lstat(file)).isDirectory()) throw new Failure(`${file} is a directory`, NEXT_NAME);
  if (!force) throw new Failure(`${file} is already there`, `${NEXT_NAME}, or --force to overwrite it`);
  return real;
}

/** Puts the finished temporary file in place without ever replacing another, unless forced. */
async function place(temporary: string, file: string, force: boolean): Promise<void> {
  if (force) {
    await fs.rename(temporary, file);
    return;
  }
  try {
    // A hard link fails when the name is taken, which a rename would silently replace.
    await fs.link(temporary, file);
  } catch (error) {
    if (error instanceof Error && 'code' in error && error.code === 'EEXIST') throw error;
    // Some file systems have no hard links.
    await fs.copyFile(temporary, file, constants.COPYFILE_EXCL);
  }
  await fs.unlink(temporary);
}

/**
 * Checks, before any analysis, that files can be put into a directory that is there or can be made.
 *
 * @throws Failure when something else has that name, or when there is nowhere to make it
 */
export async function checkOutputDirectory(directory: string): Promise<void> {
  try {
    if (!(await fs.stat(directory)).isDirectory())
      throw new Failure(`${directory} is a file, not a directory`, NEXT_NAME);
    return;
  } catch (error) {
    if (error instanceof Failure) throw error;
  }
  try {
    await realPathOf(directory);
  } catch (error) {
    throw new Failure(
      `cannot write to ${directory}: ${reasonOf(error)}`,
      'create the directory above it first',
    );
  }
}

/** Makes a directory that `checkOutputDirectory` has let pass; one that is there stays as it is. */
export async function makeOutputDirectory(directory: string): Promise<void> {
  try {
    await fs.mkdir(directory);
  } catch (error) {
    if (error instanceof Error && 'code' in error && error.code === 'EEXIST') return;
    throw new Failure(`cannot make the directory ${directory}: ${reasonOf(error)}`, NEXT_NAME);
  }
}

/** Writes all of `content` or nothing. Call `checkOutputs` first. */
export async function writeOutput(file: string, content: string | Uint8Array, force: boolean): Promise<void> {
  const temporary = path.join(path.dirname(file), `.${path.basename(file)}.${process.pid}.part`);
  try {
    const handle = await fs.open(temporary, 'wx');
    try {
      await handle.writeFile(content);
      await handle.sync();
    } finally {
      await handle.close();
    }
    await place(temporary, file, force);
  } catch (error) {
    await fs.rm(temporary, { force: true });
    const isTaken = error instanceof Error && 'code' in error && error.code === 'EEXIST';
    throw isTaken
      ? new Failure(`${file} has appeared meanwhile`, `${NEXT_NAME}, or --force to overwrite it`)
      : new Failure(`cannot write ${file}: ${reasonOf(error)}`, NEXT_NAME);
  }
}

/**
 * @returns the value as JSON with a final line break
 * @throws Error naming the place of a number that is not finite: JSON would turn it into null without a word, and
 *   every number of a result is promised to be finite
 */
export function toJson(value: unknown): string {
  const text = JSON.stringify(
    value,
    (key, entry: unknown) => {
      if (typeof entry === 'number' && !Number.isFinite(entry)) {
        throw new Error(`the result holds ${String(entry)} at "${key}"`);
      }
      return entry;
    },
    2,
  );
  return `${text}\n`;
}
