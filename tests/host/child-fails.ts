// A helper thread for tests that fails at the first item it takes.
import { helpWith } from '../../src/host/threads';

helpWith((_item: number, { taken }: { readonly taken: Int32Array }) => {
  Atomics.store(taken, 0, 1);
  Atomics.notify(taken, 0);
  throw new Error('on purpose');
});
