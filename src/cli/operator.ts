// The person at the terminal: checklist, questions, photo, notes. Esc or Ctrl-C at any question ends the campaign safely.
import { confirm, isCancel, log, multiselect, note, text } from '@clack/prompts';
import type { ClearRequest, HandsDone, HandsRequest, Operator } from '../app/operator';
import type { TerminalReporter } from './reporter';
import { simulatedBadge } from './text';

/** Whether somebody can be asked: both what is read and what is drawn on are terminals. */
export function atTerminal(): boolean {
  return process.stdin.isTTY && process.stderr.isTTY;
}

/** @param photoProblem why a photo cannot be kept, or null */
export function terminalOperator(reporter: TerminalReporter, photoProblem: (path: string) => string | null): Operator {
  const terminal = { input: process.stdin, output: process.stderr };
  const paused = async <T>(ask: () => Promise<T>): Promise<T> => {
    reporter.pause(true);
    try {
      return await ask();
    } finally {
      reporter.pause(false);
    }
  };

  async function hands(request: HandsRequest, signal: AbortSignal): Promise<HandsDone | 'stop'> {
    const io = { ...terminal, signal };
    const badge = request.simulated ? `${simulatedBadge()} nothing has to be touched\n` : '';
    note(`${badge}${request.title}\nThe motor was measured still. ${request.output_off ? "The supply's output is off and stays off while you are asked here; a battery or a capacitor beside it may still hold charge." : 'Keep the power off while hands are near.'}`, `Hands needed before run ${request.run} of ${request.of}`, io);
    for (let ticked: number[] = []; ;) {
      const done = await multiselect({ initialValues: ticked, message: 'Tick every step when it is done (space ticks, a ticks all, enter goes on)', options: request.checklist.map((label, i) => ({ value: i, label })), required: false, ...io });
      if (isCancel(done)) return 'stop';
      if (done.length === request.checklist.length) break;
      ticked = done;
      log.warn(`${request.checklist.length - done.length} not ticked: the run cannot begin before every step is done. Esc stops the campaign.`, io);
    }
    const answers: Record<string, string> = {};
    for (const question of request.ask) {
      const answer = await text({ message: question, validate: (v) => ((v ?? '').trim() === '' ? 'An answer is needed: it is kept in the record.' : undefined), ...io });
      if (isCancel(answer)) return 'stop';
      answers[question] = answer.trim();
    }
    const photo = await text({ message: 'Photo: path from the bench folder (empty: none)', defaultValue: '', validate: (v) => ((v ?? '').trim() === '' ? undefined : photoProblem((v ?? '').trim()) ?? undefined), ...io });
    if (isCancel(photo)) return 'stop';
    const notes = await text({ message: 'Notes for the record (empty: none)', defaultValue: '', ...io });
    if (isCancel(notes)) return 'stop';
    return { answers, photo: photo.trim() === '' ? null : photo.trim(), notes: notes.trim() };
  }

  async function clear({ simulated, output_off }: ClearRequest, signal: AbortSignal): Promise<'clear' | 'stop'> {
    const io = { ...terminal, signal };
    for (;;) {
      const yes = await confirm({ message: `${simulated ? 'SIMULATED: ' : ''}Hands out, tools away, guard closed${output_off ? '. The output comes on now' : ', power on'}. May the motor turn?`, active: 'yes', inactive: 'not yet', initialValue: false, ...io });
      if (isCancel(yes)) return 'stop';
      if (yes) return 'clear';
    }
  }

  return { lacks: () => [], hands: (request, signal) => paused(() => hands(request, signal)), clear: (request, signal) => paused(() => clear(request, signal)) };
}
