import { defineConfig } from 'vitest/config';

export default defineConfig({
  test: {
    pool: 'forks',
    maxWorkers: 2,
    testTimeout: 120_000,
    hookTimeout: 120_000,
    globalSetup: ['scripts/build-core.mjs'],
    setupFiles: ['src/controller/subset-js.ts'],
    projects: [
      { extends: true, test: { name: 'virtual', include: ['tests/**/*.test.ts'], exclude: ['tests/realtime/**'], sequence: { groupOrder: 0 } } },
      // In real time: one file after the other, when nothing else runs.
      { extends: true, test: { name: 'realtime', include: ['tests/realtime/*.test.ts'], maxWorkers: 1, fileParallelism: false, sequence: { groupOrder: 1 } } },
    ],
    coverage: {
      provider: 'v8',
      include: ['src/controller/*.ts'],
      exclude: ['src/controller/wasm.ts', 'src/controller/subset-js.ts', 'src/controller/main.ts', 'src/controller/*.d.ts'],
      reporter: ['text'],
      thresholds: { lines: 100, branches: 95 },
    },
  },
});
