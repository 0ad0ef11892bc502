// What `npm run build` bundles: the command line, the interface for own protocols, and the programs of processes and threads.
import { defineConfig } from 'tsdown';

export default defineConfig({
  entry: {
    main: 'src/cli/main.ts',
    protocols: 'src/protocols/index.ts',
    'guard-child': 'src/host/guard/guard-child.ts',
    'run-worker': 'src/app/run-worker.ts',
  },
  format: 'esm',
  platform: 'node',
  // Bundled along, as opening their hundreds of small files is most of a short command's time. What finds files of its own by path stays outside.
  deps: { alwaysBundle: [/^@stdlib\//, /^ml-/, /^@mcap\//, '@foxglove/crc', 'rxjs', 'zod', 'yaml', /^@observablehq\//, /^d3/, 'linkedom', /^hyparquet/] },
  outDir: process.env.SPOOLBENCH_DIST ?? 'dist',
});
