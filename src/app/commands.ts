// Factors that a program of the user's sets: what it is told, whether it worked, and whether the read-back agrees.
import { describeSetting, type PlannedRun, type Step } from '../campaign';
import { runProgram, type ProgramResult } from '../host/program';
import { parseAny } from '../units';
import { isSimulated } from '../model/simulated';
import type { ReadyCampaign } from './prepare';

type CommandStep = Extract<Step, { step: 'command' }>;

/** What is kept of a change by command, in the journal and in every record made under it. */
export interface CommandNote {
  readonly factor: string;
  readonly to: string;
  readonly command: readonly string[];
  readonly exit_code: number | null;
  readonly stdout: string;
  readonly stderr: string;
  readonly read_back: string | null;
  /** Why the change does not count; null when it does. */
  readonly problem: string | null;
}

/** Runs the program and the read-back. Never rejects. */
export async function applyCommand(step: CommandStep, run: PlannedRun, ready: ReadyCampaign, signal: AbortSignal): Promise<CommandNote> {
  const call = (command: readonly string[]): Promise<ProgramResult> => runProgram({
    command, folder: ready.folder, input: inputFor(step, run, ready), time_limit_s: step.time_limit_s, signal,
  });
  const set = await call(step.command);
  const note = { factor: step.factor, to: step.to, command: step.command, exit_code: set.exit_code, stdout: set.stdout, stderr: set.stderr };
  const failed = failureOf(set);
  if (failed !== null) return { ...note, read_back: null, problem: `${step.factor} = ${step.to}: ${failed}` };
  if (step.read_back === null) return { ...note, read_back: null, problem: null };
  const answer = await call(step.read_back);
  const unread = failureOf(answer);
  if (unread !== null) return { ...note, read_back: null, problem: `${step.factor} = ${step.to}: reading back: ${unread}` };
  const read_back = answer.stdout.trim();
  const agrees = sameLevel(read_back, step.to, step.value);
  return { ...note, read_back, problem: agrees ? null : `${step.factor} was set to ${step.to}, but reading back gives "${read_back.slice(0, 200)}"` };
}

function failureOf(result: ProgramResult): string | null {
  if (result.how === 'ended' && result.exit_code === 0) return null;
  const said = (result.stderr.trim() || result.stdout.trim()).split('\n').slice(-3).join(' / ');
  return `${result.detail}${said === '' ? '' : `; it said: ${said.slice(0, 400)}`}`;
}

function inputFor(step: CommandStep, run: PlannedRun, ready: ReadyCampaign): string {
  const { factor, from, to, value } = step;
  return `${JSON.stringify({
    factor, from, to, value, campaign: ready.campaign.name, run: run.index, protocol: run.label,
    setting: Object.fromEntries(Object.entries(run.setting.levels).map(([name, l]) => [name, l.text])),
    setting_text: describeSetting(run.setting), simulated: isSimulated(ready.rig),
  })}\n`;
}

/**
 * Whether an answer names the level: the same text whatever the spaces, a quantity of the same value, or the bare number in
 * SI. Quantities are compared to one part in 10⁹: what a level is, is exact.
 */
export function sameLevel(answer: string, to: string, value: number | null): boolean {
  const bare = (text: string): string => text.replace(/\s+/g, '');
  if (bare(answer) === bare(to)) return true;
  if (value === null || answer === '') return false;
  const near = (x: number): boolean => Math.abs(x - value) <= 1e-9 * Math.max(Math.abs(value), Math.abs(x));
  if (/^[-+]?[\d.]+(e[-+]?\d+)?$/i.test(answer)) return near(Number(answer));
  const wanted = parseAny(to);
  const got = parseAny(answer);
  return wanted.ok && got.ok && wanted.value.dimension === got.value.dimension && near(got.value.value);
}
