#!/usr/bin/env node
/** Entry of the `settle` command: runs one command and turns whatever happens into messages and an exit status. */

import { readFileSync } from 'node:fs';
import { EXIT, describeFailure } from './failures.js';
import { loadReport } from './stages.js';
import { watchStandardOutput } from './terminal.js';

function readVersion(): string {
  const text = readFileSync(new URL('../package.json', import.meta.url), 'utf8');
  return (JSON.parse(text) as { version: string }).version;
}

async function run(parameters: readonly string[]): Promise<void> {
  // Scripts ask for the version often; the answer needs no parser of the command line.
  if (parameters.length === 1 && parameters[0] === '--version') {
    process.stdout.write(`${readVersion()}\n`);
    return;
  }
  const { buildProgram, usageFailure } = await import('./program.js');
  const { CommanderError } = await import('commander');
  try {
    await buildProgram(readVersion()).parseAsync(parameters, { from: 'user' });
  } catch (error) {
    if (!(error instanceof CommanderError)) throw error;
    const failure = usageFailure(error);
    if (failure !== null) throw failure;
  }
}

async function printFailure(error: unknown): Promise<void> {
  // A file name may hold an escape sequence; messages repeat it.
  const { printable } = await loadReport();
  const { status, lines, attachment } = describeFailure(error);
  for (const line of lines) process.stderr.write(`settle: ${printable(line)}\n`);
  if (attachment !== null) process.stderr.write(`${attachment.trimEnd()}\n`);
  process.exitCode = status;
}

watchStandardOutput(EXIT.unusable);
try {
  await run(process.argv.slice(2));
} catch (error) {
  await printFailure(error);
}
