// Threads that share a list of work with the thread that starts them.
import { existsSync } from 'node:fs';
import { availableParallelism } from 'node:os';
import { parentPort, Worker } from 'node:worker_threads';

/** A result with the place of its item in the list. */
type Placed<R> = readonly [index: number, result: R];

/** What a helper thread is given. */
interface Given<T, S> {
  readonly items: readonly T[];
  readonly shared: S;
  /** One counter: the next item that nobody has taken. */
  readonly next: SharedArrayBuffer;
}

/** A helper thread that has loaded its program, or is about to, and waits for work. */
interface Helper {
  readonly give: (given: Given<unknown, unknown>) => void;
  /** What it did: nothing, when it could not start or failed. */
  readonly done: Promise<unknown>;
}

/** Helper threads that wait for work. Without any they keep no process from ending. */
export type Crew = readonly Helper[];

/** Processor cores that helpers could use beside this thread; never more than 3, which is where reading files stops to gain. */
export const spareCores = (): number => Math.min(3, availableParallelism() - 1);

/**
 * Starts helper threads; they load their program while this thread does other things.
 * @param entry module of the helper threads, without its ending, beside `base`; it calls {@link helpWith}
 */
export const startCrew = (entry: { readonly name: string; readonly base: string }, helpers: number): Crew => Array.from({ length: helpers }, () => helper(entry));

/**
 * Applies `work` to every item, here and on the crew's threads, each taking the next item when it is done with one. What a helper
 * that failed has left undone is done here. A crew works once.
 * @param shared plain data that every thread is given
 */
export async function shareWork<T, S, R>(crew: Crew, items: readonly T[], shared: S, work: (item: T) => R): Promise<R[]> {
  const given: Given<T, S> = { items, shared, next: new SharedArrayBuffer(4) };
  for (const { give } of crew) give(given);
  const results = new Map<number, R>(takeInTurn(given, work));
  for (const placed of (await Promise.all(crew.map(({ done }) => done as Promise<Placed<R>[]>))).flat()) results.set(...placed);
  return items.map((item, i) => (results.has(i) ? results.get(i) as R : work(item)));
}

/** The helper's side: takes items in turn until there are none, then hands its results over. */
export function helpWith<T, S, R>(work: (item: T, shared: S) => R): void {
  parentPort?.once('message', (given: Given<T, S>) => { parentPort?.postMessage(takeInTurn(given, (item) => work(item, given.shared))); });
}

function takeInTurn<T, S, R>({ items, next }: Given<T, S>, work: (item: T) => R): Placed<R>[] {
  const counter = new Int32Array(next);
  const done: Placed<R>[] = [];
  for (let i = Atomics.add(counter, 0, 1); i < items.length; i = Atomics.add(counter, 0, 1)) done.push([i, work(items[i])]);
  return done;
}

function helper({ name, base }: { readonly name: string; readonly base: string }): Helper {
  const built = new URL(`./${name}.mjs`, base);
  // From sources a thread needs the same help as the program: bin/thread.mjs lends it, and imports the entry.
  const start = existsSync(built) ? built : new URL('../../bin/thread.mjs', import.meta.url);
  const entry = existsSync(built) ? built : new URL(`./${name}.ts`, base);
  if (!existsSync(start) || !existsSync(entry)) return { give: () => undefined, done: Promise.resolve([]) };
  const worker = new Worker(start, { workerData: { entry: entry.href } });
  const done = new Promise((resolve) => {
    worker.once('message', (placed: unknown) => {
      resolve(placed);
      void worker.terminate();
    });
    for (const end of ['error', 'exit'] as const) worker.once(end, () => { resolve([]); });
  });
  // Last: to listen for a message makes the process wait for the thread again.
  worker.unref();
  return {
    give: (given) => {
      worker.ref();
      worker.postMessage(given);
    },
    done,
  };
}
