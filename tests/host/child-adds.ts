// A helper thread for tests: adds what it is given to an item, and says in which thread.
import { threadId } from 'node:worker_threads';
import { helpWith } from '../../src/host/threads';

helpWith((item: number, { add, taken }: { readonly add: number; readonly taken: Int32Array }) => {
  Atomics.store(taken, 0, 1);
  Atomics.notify(taken, 0);
  return { sum: item + add, thread: threadId };
});
