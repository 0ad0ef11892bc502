import { defineConfig } from 'vitest/config';

export default defineConfig({
  test: {
    include: ['tests/**/*.test.ts'],
    pool: 'forks',
    maxWorkers: 2,
    testTimeout: 120_000,
    hookTimeout: 120_000,
    globalSetup: ['scripts/build-core.mjs'],
    setupFiles: ['src/controller/subset-js.ts'],
    coverage: {
      provider: 'v8',
      include: ['src/controller/*.ts'],
      exclude: ['src/controller/wasm.ts', 'src/controller/subset-js.ts', 'src/controller/main.ts', 'src/controller/*.d.ts'],
      reporter: ['text'],
      thresholds: { lines: 100, branches: 95 },
    },
  },
});
