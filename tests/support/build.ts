import { execFileSync } from 'node:child_process';
import { fileURLToPath } from 'node:url';

/** Builds every package once before the tests, so that the command line under test is the one in the checkout. */
export default function build(): void {
  const root = fileURLToPath(new URL('../..', import.meta.url));
  execFileSync(
    process.execPath,
    ['node_modules/typescript/bin/tsc', '-b', 'packages/cli', 'packages/simulator'],
    { cwd: root, stdio: 'inherit' },
  );
}
