// Plays a protocol on a bench: streams of what happens, through the table, into orders to the bench and progress for people.
import {
  EMPTY, NEVER, type Observable, Subject, catchError, concat, defer, distinctUntilChanged, finalize, ignoreElements, interval, map,
  merge, mergeMap, observeOn, of, queueScheduler, startWith, switchMap, take, takeWhile, tap, throwIfEmpty, timeout, timer,
} from 'rxjs';
import type { ProtocolSteps } from '../model/segment';
import type { Happening } from './ledger';
import type { RunState } from './machine';
import { BOUNDS, BOUND_MARGIN_S, type Bounds, type OperatorRequest, type RunOptions, type RunPorts, type RunProgress } from './options';
import { Run } from './run';

/**
 * Plays the steps once. Nothing happens before the subscription. Emits progress; the last one, in state `ended`, carries the
 * outcome, which is in the log before it is emitted. Never errors: what goes wrong is an outcome. Unsubscribing early stops the
 * motor and still writes an outcome.
 */
export function runProtocol(steps: ProtocolSteps, ports: RunPorts, options: RunOptions): Observable<RunProgress> {
  return defer(() => {
    const { bench, clock: { scheduler } } = ports;
    const bounds = { ...BOUNDS, ...options.bounds };
    const run = new Run(steps, ports, options, bounds.ask_lead_s);
    const faults = new Subject<Happening>();
    const states = new Subject<RunState>();
    run.onFault = (fault) => faults.next(fault);

    const events = untilLost(bench.events.pipe(mergeMap((event) => run.hear(event))), 'events');
    const blocks = untilLost(bench.blocks.pipe(tap((block) => run.takeBlock(block)), ignoreElements()), 'samples');
    const requests = (options.requests ?? NEVER).pipe(catchError(() => of<OperatorRequest>('stop-now')), map((request) => run.obey(request)));
    const beats = interval(bounds.beat_s * 1000, scheduler).pipe(startWith(0), tap(() => run.beat()), ignoreElements());
    const phases = states.pipe(
      map((state) => PHASE_OF[state]),
      distinctUntilChanged(),
      switchMap((phase) => during(phase, run, ports, options, bounds)),
    );
    const begin = of<Happening>({ input: 'begin' });

    // Happenings wait in line, so that one caused by an order is taken after the transition that gave the order.
    const transitions = merge(faults, events, blocks, requests, beats, phases, begin).pipe(
      observeOn(queueScheduler),
      map((happening) => run.take(happening)),
      tap((transition) => run.act(transition)),
      tap((transition) => states.next(transition.to)),
    );
    const clockTicks = interval(bounds.progress_s * 1000, scheduler);
    return merge(transitions, clockTicks).pipe(
      map(() => run.progress()),
      takeWhile((progress) => progress.outcome === null, true),
      catchError((error: unknown) => of(run.abandon(`the sequencer itself failed: ${String(error)}`))),
      finalize(() => run.abandon('the run was left before the motor was measured to stand still')),
    );
  });
}

type Phase = 'before' | 'checking' | 'arming' | 'starting' | 'playing' | 'stopping' | 'over';

/** States that share one time bound. */
const PHASE_OF: Readonly<Record<RunState, Phase>> = {
  idle: 'before', checking: 'checking', arming: 'arming', ready: 'starting', playing: 'playing', finishing: 'playing',
  stopping: 'stopping', confirming: 'stopping', ended: 'over',
};

/** What happens of itself in a phase: answers to questions, and the bound. Leaving the phase ends it. */
function during(phase: Phase, run: Run, ports: RunPorts, options: RunOptions, bounds: Bounds): Observable<Happening> {
  const { bench, clock: { scheduler } } = ports;
  const overdue = (after_s: number, detail: string): Observable<Happening> =>
    timer(after_s * 1000, scheduler).pipe(map(() => ({ input: 'overdue', detail })));
  switch (phase) {
    case 'checking':
      return guarded(defer(() => of(run.permission(bench.permit()))));
    case 'arming':
      return guarded(defer(() => bench.arm()).pipe(
        take(1),
        throwIfEmpty(() => new Error('arming ended without an answer')),
        map((permit) => run.permission(permit)),
        timeout({ first: bounds.arm_s * 1000, scheduler, with: () => of<Happening>({ input: 'overdue', detail: `no answer to arming within ${bounds.arm_s} s` }) }),
      ));
    case 'starting':
      return overdue(bounds.start_s, `the board did not start within ${bounds.start_s} s`);
    case 'playing':
      return overdue(options.bound_s + BOUND_MARGIN_S, `the protocol's bound of ${options.bound_s} s passed and ${BOUND_MARGIN_S} s later the bench had not ended it`);
    case 'stopping':
      return overdue(bounds.stop_s, `no measurement of standing still within ${bounds.stop_s} s`);
    case 'before':
    case 'over':
      return EMPTY;
  }
}

/** An error of the bench is a happening, not the end of the stream. */
function guarded(source: Observable<Happening>): Observable<Happening> {
  return source.pipe(catchError((error: unknown) => of<Happening>({ input: 'bench-failed', detail: `the bench: ${error instanceof Error ? error.message : String(error)}` })));
}

/** A bench's stream never ends during a run; when it does, the bench is lost. */
function untilLost(source: Observable<Happening>, what: string): Observable<Happening> {
  return guarded(concat(source, of<Happening>({ input: 'bench-failed', detail: `the bench sends no more ${what}` })));
}
