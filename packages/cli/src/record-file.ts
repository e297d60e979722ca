/**
 * The file of a tuning record: read with what is needed to notice that it has changed since, and replaced as a whole or
 * not at all.
 *
 * Writing: the new text goes to a temporary file beside the record and to the disk, the record is compared with what was
 * read, and the temporary file takes its name in one step. Whenever that is interrupted, the record is the old one or the
 * new one. A lock makes comparing and renaming one act for all who write through here.
 */

import { createHash, randomBytes } from 'node:crypto';
import { constants, promises as fs } from 'node:fs';
import path from 'node:path';
import { Failure, reasonOf } from './failures.js';
import { hasLogExtension } from './flight-input.js';
import { takeLock } from './file-lock.js';

/** How the text stands in the file, so that it is written again as it was. */
interface TextLayout {
  readonly encoding: 'utf-8' | 'utf-16le';
  readonly byteOrderMark: boolean;
  readonly lineBreak: '\n' | '\r\n';
}

export interface RecordFile {
  /** As given, for messages. */
  readonly file: string;
  /** Where it really stands: behind links, which stay. */
  readonly realPath: string;
  /** Null: there is no such file yet. */
  readonly found: {
    readonly text: string;
    readonly layout: TextLayout;
    readonly digest: string;
    readonly mode: number;
    readonly owner: { readonly user: number; readonly group: number };
  } | null;
}

const NEW_LAYOUT: TextLayout = { encoding: 'utf-8', byteOrderMark: false, lineBreak: '\n' };
/** Permission bits of a new file, before the process's own mask. */
const NEW_MODE = 0o666;

function digestOf(bytes: Uint8Array): string {
  return createHash('sha256').update(bytes).digest('hex');
}

function isMissing(error: unknown): boolean {
  return error instanceof Error && 'code' in error && error.code === 'ENOENT';
}

function cannotRead(file: string, error: unknown): Failure {
  return new Failure(`cannot read the tuning record ${file}: ${reasonOf(error)}`, 'check its name');
}

/**
 * Reads a record, or finds out where a new one would stand.
 *
 * @param isNewAllowed whether the file may be missing
 * @throws Failure when it cannot be read, or is no text
 */
export async function openRecordFile(file: string, isNewAllowed: boolean): Promise<RecordFile> {
  let bytes: Uint8Array;
  try {
    const stats = await fs.stat(file);
    if (stats.isDirectory())
      throw new Failure(`${file} is a directory`, 'give the tuning record first: a JSON file');
    if (!stats.isFile()) throw new Failure(`${file} is not a regular file`, 'give a JSON file');
    bytes = await fs.readFile(file);
    const { text, layout } = decode(bytes, file);
    const owner = { user: stats.uid, group: stats.gid };
    const found = { text, layout, digest: digestOf(bytes), mode: stats.mode & 0o7777, owner };
    return { file, realPath: await fs.realpath(file), found };
  } catch (error) {
    if (error instanceof Failure) throw error;
    if (!isMissing(error) || !isNewAllowed) throw cannotRead(file, error);
    return { file, realPath: await placeForNew(file), found: null };
  }
}

async function placeForNew(file: string): Promise<string> {
  if (hasLogExtension(file))
    throw new Failure(
      `there is no tuning record ${file}, and a new one would be taken for a log by that name`,
      'give the record first, by a name that ends in .json, then the flight',
    );
  try {
    return path.join(await fs.realpath(path.dirname(path.resolve(file))), path.basename(file));
  } catch (error) {
    throw new Failure(`cannot write ${file}: ${reasonOf(error)}`, 'create the directory first');
  }
}

function decode(bytes: Uint8Array, file: string): { text: string; layout: TextLayout } {
  const encoding = bytes[0] === 0xff && bytes[1] === 0xfe ? 'utf-16le' : 'utf-8';
  const text = new TextDecoder(encoding, { ignoreBOM: true }).decode(bytes);
  // Bytes that mean no text would be lost when the record is written again.
  const again = Buffer.from(text, encoding === 'utf-8' ? 'utf8' : 'utf16le');
  if (!again.equals(bytes)) {
    let at = 0;
    while (again[at] === bytes[at]) at += 1;
    const before = new TextDecoder(encoding).decode(bytes.subarray(0, at)).split('\n');
    throw new Failure(
      `${file}:${before.length}:${[...before.at(-1)!].length + 1}: these bytes are no text`,
      'the record is damaged here: correct it in an editor, or put back a copy; nothing was written',
    );
  }
  const lineBreak = /\r\n/.test(text) && !/[^\r]\n/.test(text) ? '\r\n' : '\n';
  return { text, layout: { encoding, byteOrderMark: text.startsWith('\uFEFF'), lineBreak } };
}

function encode(text: string, { encoding, byteOrderMark, lineBreak }: TextLayout): Uint8Array {
  const laidOut = `${byteOrderMark ? '\uFEFF' : ''}${text.replaceAll('\n', lineBreak)}`;
  return Buffer.from(laidOut, encoding === 'utf-8' ? 'utf8' : 'utf16le');
}

/**
 * Replaces the record by `text`, or begins it: all of it, or nothing.
 *
 * @throws Failure when the record is not what was read, or cannot be written
 */
export async function replaceRecordFile(record: RecordFile, text: string): Promise<void> {
  const { file, realPath, found } = record;
  const directory = path.dirname(realPath);
  // A name of its own every time: what an interrupted run left behind is never in the way.
  const own = `.${path.basename(realPath)}.${process.pid}.${randomBytes(6).toString('hex')}.part`;
  const temporary = path.join(directory, own);
  try {
    if (found !== null) await checkWritable(record);
    await writeThrough(temporary, encode(text, found?.layout ?? NEW_LAYOUT), found);
    const lock = await takeLock(path.join(directory, `.${path.basename(realPath)}.lock`), file);
    try {
      await checkUnchanged(record);
      await putInPlace(temporary, record);
    } finally {
      await lock.release();
    }
    await syncDirectory(directory);
  } catch (error) {
    if (error instanceof Failure) throw error;
    throw new Failure(
      `cannot write ${file}: ${reasonOf(error)}`,
      'the record is as it was; mend that and run the command again',
    );
  } finally {
    await fs.rm(temporary, { force: true });
  }
}

/** Renaming needs no right to the file itself, so a record that its owner has closed would be replaced all the same. */
async function checkWritable({ file, realPath, found }: RecordFile): Promise<void> {
  if ((found!.mode & 0o222) === 0)
    throw new Failure(`${file} is read-only`, 'make it writable to go on with this record');
  await fs.access(realPath, constants.W_OK);
}

async function writeThrough(temporary: string, bytes: Uint8Array, found: RecordFile['found']): Promise<void> {
  const handle = await fs.open(temporary, 'wx', found?.mode ?? NEW_MODE);
  try {
    await handle.writeFile(bytes);
    if (found !== null) {
      // Only an administrator may give files away, and only then does the owner differ.
      await handle.chown(found.owner.user, found.owner.group).catch(() => undefined);
      // The process's own mask has taken bits away.
      await handle.chmod(found.mode);
    }
    await handle.sync();
  } finally {
    await handle.close();
  }
}

async function checkUnchanged({ file, realPath, found }: RecordFile): Promise<void> {
  const now = await fs.readFile(realPath).catch((error: unknown) => {
    if (isMissing(error)) return null;
    throw error;
  });
  if (found === null && now === null) return;
  if (found !== null && now !== null && digestOf(now) === found.digest) return;
  const what = found === null ? 'has appeared' : now === null ? 'has gone' : 'has changed';
  throw new Failure(
    `${file} ${what} since it was read, so nothing was written`,
    'look at it with settle record list, then run the command again',
  );
}

async function putInPlace(temporary: string, { realPath, found, file }: RecordFile): Promise<void> {
  if (found === null) {
    try {
      // A hard link fails when the name is taken, which a rename would silently replace.
      await fs.link(temporary, realPath);
      return;
    } catch (error) {
      if (error instanceof Error && 'code' in error && error.code === 'EEXIST')
        throw new Failure(
          `${file} has appeared since it was looked for, so nothing was written`,
          'look at it with settle record list, then run the command again',
        );
      // Some file systems have no hard links; the lock and the look just before must do.
    }
  }
  await fs.rename(temporary, realPath);
}

/** Makes the new name itself last through a loss of power, where the system can. */
async function syncDirectory(directory: string): Promise<void> {
  try {
    const handle = await fs.open(directory, 'r');
    try {
      await handle.sync();
    } finally {
      await handle.close();
    }
  } catch {
    // Not every system opens directories; the file itself is on the disk.
  }
}
