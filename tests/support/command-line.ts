/** Runs the built command line as a person or a script would, in a directory of its own. */

import { execFile } from 'node:child_process';
import { createHash } from 'node:crypto';
import { promises as fs } from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { fileURLToPath } from 'node:url';

export const ROOT = fileURLToPath(new URL('../..', import.meta.url));
const MAIN = path.join(ROOT, 'packages/cli/dist/main.js');

export interface Outcome {
  readonly status: number | null;
  readonly stdout: string;
  readonly stderr: string;
}

export interface RunOptions {
  readonly cwd?: string;
  readonly environment?: Readonly<Record<string, string>>;
  /** Parameters of node itself, before the program. */
  readonly nodeParameters?: readonly string[];
}

export async function settle(parameters: readonly string[], options: RunOptions = {}): Promise<Outcome> {
  // Of the surroundings only the search path: a NO_COLOR or COLUMNS of the machine must not decide a test.
  const environment = { PATH: process.env['PATH'] ?? '', ...options.environment };
  return new Promise((resolve, reject) => {
    execFile(
      process.execPath,
      [...(options.nodeParameters ?? []), MAIN, ...parameters],
      { cwd: options.cwd, env: environment, maxBuffer: 64e6 },
      (error, stdout, stderr) => {
        if (error !== null && typeof error.code !== 'number') reject(error);
        else resolve({ status: error === null ? 0 : Number(error.code), stdout, stderr });
      },
    );
  });
}

export async function makeDirectory(): Promise<string> {
  return fs.mkdtemp(path.join(os.tmpdir(), 'settle-test-'));
}

/** SHA-256 of every file below a directory, by relative path. */
export async function digestsOf(directory: string): Promise<Record<string, string>> {
  const entries = await fs.readdir(directory, { recursive: true, withFileTypes: true });
  const digests: Record<string, string> = {};
  for (const entry of entries.filter((candidate) => candidate.isFile())) {
    const file = path.join(entry.parentPath, entry.name);
    digests[path.relative(directory, file)] = createHash('sha256')
      .update(await fs.readFile(file))
      .digest('hex');
  }
  return digests;
}
