import { fileURLToPath } from 'node:url';
import { defineConfig } from 'vitest/config';
import { BaseSequencer, type TestSpecification } from 'vitest/node';

/** The built package: the test runner rewrites sources, and every call from one module into another then goes through a getter. */
const built = (name: string, module = 'index'): string =>
  fileURLToPath(new URL(`./packages/${name}/dist/${module}.js`, import.meta.url));

/** Trials and the browser first: one that takes minutes and is left to the end keeps one core waiting. */
class LongestFirst extends BaseSequencer {
  override async sort(files: TestSpecification[]): Promise<TestSpecification[]> {
    const sorted = await super.sort(files);
    const isLong = ({ moduleId }: TestSpecification): boolean => /\/tests\/(trials|browser)\//.test(moduleId);
    return [...sorted.filter(isLong), ...sorted.filter((file) => !isLong(file))];
  }
}

export default defineConfig({
  resolve: {
    alias: {
      '@settle/parser': built('parser'),
      // Before the package itself, which would take it for a part of its entry file.
      '@settle/analysis/unavailable': built('analysis', 'unavailable'),
      '@settle/analysis': built('analysis'),
      '@settle/report': built('report'),
      '@settle/simulator': built('simulator'),
    },
  },
  test: {
    // Loaded by Node as it is, not rewritten after all.
    server: { deps: { external: [/\/packages\/[a-z]+\/dist\//] } },
    include: ['packages/*/src/**/*.test.ts', 'tests/**/*.test.ts'],
    globalSetup: ['tests/support/build.ts'],
    testTimeout: 120_000,
    hookTimeout: 120_000,
    // Both cores of a small machine: by default one is left to the reporter, which doubles the time.
    maxWorkers: 2,
    // No test replaces a module or changes what another sees, so files share what is loaded and warm: a third less time.
    isolate: false,
    sequence: { sequencer: LongestFirst },
    reporters: process.env['CI']
      ? ['default', ['json', { outputFile: '.cache/test-results.json' }]]
      : ['default'],
  },
});
