import { execFileSync, spawnSync } from 'node:child_process';
import { existsSync } from 'node:fs';
import type { TestContext } from 'vitest';

/** Debian's interpreter first: its python3-scipy is the reference the expectations were made for. */
const INTERPRETERS = ['/usr/bin/python3', 'python3'];

let found: { interpreter: string } | { missing: string } | null = null;

/**
 * Runs a Python script with SciPy. The script finds its input in `data` and leaves its answer in `answer`; `np`, `signal`,
 * `stats` and `optimize` are imported. Numbers pass through JSON with all their digits.
 *
 * Where SciPy is missing the running test fails if CI is set (CI installs it) and is skipped with a message elsewhere.
 *
 * @param script Python statements
 * @param data anything JSON can hold; typed arrays become lists
 * @param test the context vitest hands to the running test
 */
export function scipy<Answer>(script: string, data: unknown, test: Pick<TestContext, 'skip'>): Answer {
  found ??= findInterpreter();
  if ('missing' in found) {
    if (process.env['CI']) throw new Error(`CI must have SciPy: ${found.missing}`);
    // The short reporter prints only how many tests were skipped: the reason goes to stderr too.
    process.stderr.write(`skipped: not compared with SciPy: ${found.missing}\n`);
    return test.skip(`not compared with SciPy: ${found.missing}`);
  }
  const input = JSON.stringify(data, (_key, value: unknown) =>
    value instanceof Float64Array ? Array.from(value) : value,
  );
  // The script goes in on stdin and carries its data, so that nothing touches the disk.
  const program = [
    'import json',
    'import numpy as np',
    'from scipy import optimize, signal, stats',
    `data = json.loads(${JSON.stringify(input)})`,
    script,
    'print(json.dumps(answer, allow_nan=False))',
  ].join('\n');
  const output = execFileSync(found.interpreter, ['-'], {
    input: program,
    encoding: 'utf8',
    maxBuffer: 256 * 1024 * 1024,
    stdio: ['pipe', 'pipe', 'inherit'],
  });
  return JSON.parse(output) as Answer;
}

function findInterpreter(): { interpreter: string } | { missing: string } {
  for (const interpreter of INTERPRETERS) {
    if (interpreter.startsWith('/') && !existsSync(interpreter)) continue;
    if (spawnSync(interpreter, ['-c', 'import scipy.signal'], { stdio: 'ignore' }).status === 0) {
      return { interpreter };
    }
  }
  return {
    missing: `no Python with SciPy among ${INTERPRETERS.join(', ')} (Debian: apt install python3-scipy)`,
  };
}
