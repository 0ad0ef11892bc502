// Starts a helper thread from the sources, with the same settings as spoolbench.mjs. A built program needs no such help.
import { fileURLToPath } from 'node:url';
import { workerData } from 'node:worker_threads';
import { register } from 'tsx/esm/api';

register({ tsconfig: fileURLToPath(new URL('../tsconfig.json', import.meta.url)) });
await import(workerData.entry);
