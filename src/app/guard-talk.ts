// The conversation with a guard process: starts it, asks it, waits for it, shows it that this process lives. Time is real.
import { startGuard, type GuardHandle, type StartGuard } from '../host/guard/guard-process';
import { BEAT_EVERY_MS, type FromGuard, type ToGuard } from '../host/guard/messages';
import { sharedClock_us } from '../host/guard/shared-clock';

/** Answers of the guard are waited for this long, s: a greeting may take as long as a board takes to start. */
export const ANSWER_WITHIN_S = 15;
/** Conditions are looked at so often while nothing is told, ms. */
const LOOK_EVERY_MS = 10;

export interface TalkPorts {
  /** Another way to run a guard, for tests. */
  readonly start?: StartGuard | undefined;
  /** What the guard says that is no answer to a question. */
  readonly hear: (message: FromGuard) => void;
  /** The guard is gone, for this reason. */
  readonly gone: (reason: string) => void;
  /** Does somebody else show the guard that this process lives? Then the timer of this conversation must not. */
  readonly othersBeat: () => boolean;
}

export class GuardTalk {
  /** Its program runs and listens. */
  started = false;
  /** Why nothing can be asked any more; null while the guard lives. */
  gone: string | null = null;
  private guard: GuardHandle | null = null;
  private beats: NodeJS.Timeout | null = null;
  private readonly waiting = new Map<number, (message: FromGuard) => void>();
  private readonly woken = new Set<() => void>();
  private nextId = 1;

  constructor(private readonly ports: TalkPorts) {}

  /** Process id of the guard, for messages and tests. */
  get pid(): number | undefined {
    return this.guard?.pid;
  }

  /** Starts a guard, where none lives. Returns whether it did. */
  start(): boolean {
    if (this.guard !== null && this.gone === null) return false;
    this.gone = null;
    this.started = false;
    const guard = (this.ports.start ?? startGuard)({
      message: (message) => { this.take(message); },
      gone: (reason) => { if (this.guard === guard) this.lose(reason); },
    });
    this.guard = guard;
    this.stopBeats();
    this.beats = setInterval(() => { if (!this.ports.othersBeat()) this.post({ type: 'beat' }); }, BEAT_EVERY_MS);
    return true;
  }

  /** Resolves when the motor stands still, the port is free and the guard has ended. */
  async close(): Promise<void> {
    this.stopBeats();
    const { guard } = this;
    this.guard = null;
    await guard?.close();
  }

  post(message: ToGuard): void {
    this.guard?.post(message);
  }

  /** Asks; `heard` is called with the answer, if one comes. Returns how to stop listening. */
  question(make: (id: number) => ToGuard, heard: (message: FromGuard) => void): () => void {
    const id = this.nextId++;
    this.waiting.set(id, (message) => {
      this.waiting.delete(id);
      heard(message);
    });
    this.post(make(id));
    return () => { this.waiting.delete(id); };
  }

  /** Asks, and waits for the answer; null when none comes. */
  async ask(make: (id: number) => ToGuard): Promise<FromGuard | null> {
    let answer: FromGuard | null = null;
    const forget = this.question(make, (message) => { answer = message; });
    await this.playUntil(() => answer !== null || this.gone !== null, ANSWER_WITHIN_S);
    forget();
    return answer;
  }

  /** Lets time pass until `done` (true) or for so long (false). */
  async playUntil(done: () => boolean, within_s = Infinity): Promise<boolean> {
    const end_us = sharedClock_us() + within_s * 1e6;
    while (!done()) {
      if (sharedClock_us() >= end_us) return false;
      await this.wake(Math.min(LOOK_EVERY_MS, Math.max(0, (end_us - sharedClock_us()) / 1000)));
    }
    return true;
  }

  // ---- hearing ----------------------------------------------------------------------------------------------------

  private take(message: FromGuard): void {
    if (message.type === 'ready') this.started = true;
    else if (message.type === 'connected' || message.type === 'answer') this.waiting.get(message.id)?.(message);
    else this.ports.hear(message);
    this.wakeAll();
  }

  private lose(reason: string): void {
    this.gone = reason;
    this.stopBeats();
    this.ports.gone(reason);
    this.wakeAll();
  }

  private stopBeats(): void {
    if (this.beats !== null) clearInterval(this.beats);
    this.beats = null;
  }

  private wake(ms: number): Promise<void> {
    return new Promise((resolve) => {
      const wake = (): void => {
        clearTimeout(timer);
        this.woken.delete(wake);
        resolve();
      };
      const timer = setTimeout(wake, ms);
      this.woken.add(wake);
    });
  }

  private wakeAll(): void {
    for (const wake of [...this.woken]) wake();
  }
}
