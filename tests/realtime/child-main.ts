// Child of guard-ends.test.ts: a main process that runs a protocol on a board behind a port, until it is killed.
import { connected, playOnce } from './guard-kit';

const [bench, target] = process.argv.slice(2);
const there = await connected(bench, target);
process.send?.({ guard: there.world.guardPid });
await playOnce(there);
process.exit(0);
