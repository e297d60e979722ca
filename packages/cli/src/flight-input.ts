/** From the names on the command line to the bytes of one flight. Reads only; nothing here writes. */

import { type Stats, promises as fs } from 'node:fs';
import path from 'node:path';
import { Failure, reasonOf } from './failures.js';

export interface FlightSource {
  /**
   * Base name of the file, or the name as given where two files share it. Results and channel maps carry it, so it
   * should not depend on the directory the program was started in.
   */
  readonly name: string;
  readonly bytes: Uint8Array;
}

export interface FlightInput {
  readonly flightName: string;
  readonly sources: readonly FlightSource[];
  /** Every file behind the sources by real path, so that no output can land on one of them. */
  readonly realPaths: ReadonlySet<string>;
  /** The directory given as the flight, by real path; null when files were named. */
  readonly directory: string | null;
}

const LOG_EXTENSIONS = ['.csv', '.tsv', '.txt'];
const NEXT_FILE = 'give a CSV file, or a directory that holds the CSV files of one flight';

export function hasLogExtension(name: string): boolean {
  return LOG_EXTENSIONS.includes(path.extname(name).toLowerCase());
}

async function statOf(name: string): Promise<Stats> {
  try {
    return await fs.stat(name);
  } catch (error) {
    throw new Failure(`cannot read ${name}: ${reasonOf(error)}`, 'check the name and try again');
  }
}

async function readLog(name: string): Promise<Uint8Array> {
  try {
    return await fs.readFile(name);
  } catch (error) {
    throw new Failure(`cannot read ${name}: ${reasonOf(error)}`, 'make the file readable, or give another');
  }
}

async function filesOf(directory: string): Promise<string[]> {
  let names: string[];
  try {
    names = await fs.readdir(directory);
  } catch (error) {
    throw new Failure(`cannot read ${directory}: ${reasonOf(error)}`, 'make the directory readable');
  }
  const candidates = names.filter((name) => hasLogExtension(name) && !name.startsWith('.')).sort();
  const files: string[] = [];
  for (const name of candidates) {
    const file = path.join(directory, name);
    if ((await statOf(file)).isFile()) files.push(file);
  }
  if (files.length === 0) {
    throw new Failure(
      `${directory} holds no log: no file in it ends in ${LOG_EXTENSIONS.join(', ')}`,
      'give the directory of one flight, or name its files',
    );
  }
  return files;
}

/** Refuses what cannot be one flight: a directory among files, the same file twice, a device or a pipe. */
async function checkFiles(files: readonly string[]): Promise<Set<string>> {
  const seen = new Map<string, string>();
  for (const file of files) {
    const stats = await statOf(file);
    if (stats.isDirectory()) {
      throw new Failure(
        `${file} is a directory among files`,
        'give either one directory or the files of one flight',
      );
    }
    if (!stats.isFile()) throw new Failure(`${file} is not a regular file`, NEXT_FILE);
    const real = await fs.realpath(file);
    const earlier = seen.get(real);
    if (earlier !== undefined) {
      const what = earlier === file ? `${file} is given twice` : `${file} and ${earlier} are the same file`;
      throw new Failure(what, 'name every file of the flight once');
    }
    seen.set(real, file);
  }
  return new Set(seen.keys());
}

function sourceName(file: string, files: readonly string[]): string {
  const name = path.basename(file);
  return files.filter((other) => path.basename(other) === name).length === 1 ? name : file;
}

function nameOfFlight(files: readonly string[]): string {
  const stem = path.parse(files[0]!).name;
  return files.length === 1 ? stem : `${stem} and ${files.length - 1} more`;
}

/** The files behind the names of one flight, none of them read yet. */
export interface FlightFiles {
  readonly flightName: string;
  readonly files: readonly string[];
  /** As in `FlightInput`. */
  readonly realPaths: ReadonlySet<string>;
  readonly directory: string | null;
}

/**
 * @param operands the file names of one flight, or one directory
 * @throws Failure naming the file and what to do about it
 */
export async function locateFlight(operands: readonly string[]): Promise<FlightFiles> {
  const [first, ...others] = operands;
  if (first === undefined) throw new Failure('no flight is given', NEXT_FILE);
  const isDirectory = others.length === 0 && (await statOf(first)).isDirectory();
  const files = isDirectory ? await filesOf(first) : operands;
  return {
    flightName: isDirectory ? path.basename(path.resolve(first)) : nameOfFlight(files),
    files,
    realPaths: await checkFiles(files),
    directory: isDirectory ? await fs.realpath(first) : null,
  };
}

/**
 * @param operands the file names of one flight, or one directory
 * @throws Failure naming the file and what to do about it
 */
export async function openFlight(operands: readonly string[]): Promise<FlightInput> {
  const { files, ...located } = await locateFlight(operands);
  const sources: FlightSource[] = [];
  for (const file of files) sources.push({ name: sourceName(file, files), bytes: await readLog(file) });
  return { ...located, sources };
}
