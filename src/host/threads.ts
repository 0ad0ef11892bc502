// Threads that share a list of work with the thread that starts them.
import { existsSync } from 'node:fs';
import { availableParallelism } from 'node:os';
import { parentPort, Worker, workerData } from 'node:worker_threads';

/** A result with the place of its item in the list. */
type Placed<R> = readonly [index: number, result: R];

/** What a helper thread is given. */
interface Given<T, S> {
  readonly items: readonly T[];
  readonly shared: S;
  /** One counter: the next item that nobody has taken. */
  readonly next: SharedArrayBuffer;
}

/** Processor cores that helpers could use beside this thread; never more than 3, which is where reading files stops to gain. */
export const spareCores = (): number => Math.min(3, availableParallelism() - 1);

/**
 * Applies `work` to every item, here and on helper threads, each taking the next item when it is done with one. What a helper
 * that failed has left undone is done here.
 * @param entry module of the helper threads, without its ending, beside `base`; it calls {@link helpWith}
 * @param shared plain data that every thread is given
 */
export async function shareWork<T, S, R>(entry: { readonly name: string; readonly base: string }, helpers: number, items: readonly T[], shared: S, work: (item: T) => R): Promise<R[]> {
  const next = new SharedArrayBuffer(4);
  const given: Given<T, S> = { items, shared, next };
  const others = Array.from({ length: helpers }, () => helper<R>(entry, given));
  const results = new Map<number, R>(takeInTurn(given, work));
  for (const placed of (await Promise.all(others)).flat()) results.set(...placed);
  return items.map((item, i) => (results.has(i) ? results.get(i) as R : work(item)));
}

/** The helper's side: takes items in turn until there are none, then hands its results over. */
export function helpWith<T, S, R>(work: (item: T, shared: S) => R): void {
  const given = workerData as Given<T, S>;
  parentPort?.postMessage(takeInTurn(given, (item) => work(item, given.shared)));
}

function takeInTurn<T, S, R>({ items, next }: Given<T, S>, work: (item: T) => R): Placed<R>[] {
  const counter = new Int32Array(next);
  const done: Placed<R>[] = [];
  for (let i = Atomics.add(counter, 0, 1); i < items.length; i = Atomics.add(counter, 0, 1)) done.push([i, work(items[i])]);
  return done;
}

/** Starts a helper. It resolves to what it did: nothing, when it could not start or failed. */
function helper<R>({ name, base }: { readonly name: string; readonly base: string }, given: Given<unknown, unknown>): Promise<Placed<R>[]> {
  return new Promise((resolve) => {
    const built = new URL(`./${name}.mjs`, base);
    // From sources a thread needs the same help as the program: bin/thread.mjs lends it, and imports the entry.
    const start = existsSync(built) ? built : new URL('../../bin/thread.mjs', import.meta.url);
    const entry = existsSync(built) ? built : new URL(`./${name}.ts`, base);
    if (!existsSync(start) || !existsSync(entry)) {
      resolve([]);
      return;
    }
    const worker = new Worker(start, { workerData: { ...given, entry: entry.href } });
    worker.once('message', (done: Placed<R>[]) => {
      resolve(done);
      void worker.terminate();
    });
    worker.once('error', () => { resolve([]); });
    worker.once('exit', () => { resolve([]); });
  });
}
