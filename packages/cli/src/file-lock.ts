/** A lock between runs of this program: a file that only one of them can create. */

import { promises as fs } from 'node:fs';
import os from 'node:os';
import { setTimeout as wait } from 'node:timers/promises';
import { Failure } from './failures.js';

export interface FileLock {
  release(): Promise<void>;
}

/** The lock is held for two file operations; one that is this old belongs to a run that was ended in between. */
const STALE_MS = 10_000;
const RETRY_MS = 40;
const MOST_TRIES = 50;

/**
 * @param lockFile to create
 * @param what is locked, for the message
 * @throws Failure when another run holds it for longer than it takes
 */
export async function takeLock(lockFile: string, what: string): Promise<FileLock> {
  const owner = `${os.hostname()} ${process.pid}\n`;
  for (let attempt = 0; attempt < MOST_TRIES; attempt += 1) {
    try {
      await fs.writeFile(lockFile, owner, { flag: 'wx' });
      return { release: () => fs.rm(lockFile, { force: true }) };
    } catch (error) {
      if (!(error instanceof Error && 'code' in error && error.code === 'EEXIST')) throw error;
    }
    if (await isLeftBehind(lockFile)) await fs.rm(lockFile, { force: true });
    else await wait(RETRY_MS);
  }
  throw new Failure(
    `another run of settle is writing ${what}, so nothing was written`,
    'let it finish, then run the command again',
  );
}

/** Whether the run that made the lock is known to have ended, or has held it too long to be still at it. */
async function isLeftBehind(lockFile: string): Promise<boolean> {
  try {
    const [text, { mtimeMs }] = await Promise.all([fs.readFile(lockFile, 'utf8'), fs.stat(lockFile)]);
    if (Date.now() - mtimeMs > STALE_MS) return true;
    const [host, pid] = text.trim().split(' ');
    return host === os.hostname() && pid !== undefined && !isRunning(Number(pid));
  } catch {
    // It has gone meanwhile.
    return false;
  }
}

function isRunning(pid: number): boolean {
  if (!Number.isSafeInteger(pid) || pid < 1) return true;
  try {
    process.kill(pid, 0);
    return true;
  } catch (error) {
    return !(error instanceof Error && 'code' in error && error.code === 'ESRCH');
  }
}
