import { fileURLToPath } from 'node:url';
import { defineConfig } from 'vitest/config';

const source = (name: string, module = 'index'): string =>
  fileURLToPath(new URL(`./packages/${name}/src/${module}.ts`, import.meta.url));

export default defineConfig({
  resolve: {
    alias: {
      '@settle/parser': source('parser'),
      // Before the package itself, which would take it for a part of its entry file.
      '@settle/analysis/unavailable': source('analysis', 'unavailable'),
      '@settle/analysis': source('analysis'),
      '@settle/report': source('report'),
      '@settle/simulator': source('simulator'),
    },
  },
  test: {
    include: ['packages/*/src/**/*.test.ts', 'tests/**/*.test.ts'],
    globalSetup: ['tests/support/build.ts'],
    testTimeout: 120_000,
    hookTimeout: 120_000,
    // Both cores of a small machine: by default one is left to the reporter, which doubles the time.
    maxWorkers: 2,
    reporters: process.env['CI']
      ? ['default', ['json', { outputFile: '.cache/test-results.json' }]]
      : ['default'],
  },
});
