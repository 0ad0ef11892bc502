// spoolbench run FILE
import { runFile, type RunSummary } from '../../app/run-file';
import { answersFrom } from '../../app/answers';
import { photoProblem } from '../../app/applied';
import { NOBODY, type Operator } from '../../app/operator';
import type { ReadyCampaign } from '../../app/prepare';
import type { RunResults } from '../../app/run-results';
import type { CommandModule } from '../command';
import { atTerminal, terminalOperator } from '../operator';
import { EXIT, worst, type ExitCode } from '../exit-codes';
import { reportFailure } from '../failure';
import { benchOptions, prepareOptions } from '../options';
import { TerminalReporter } from '../reporter';
import { renderEnding, renderSummary } from '../summary-text';

export const runCommand: CommandModule = {
  register(parser, done) {
    parser.command(
      'run <file>',
      'Runs a campaign, a protocol file or a built-in protocol under the safety supervisor; keeps raw records.',
      (y) => benchOptions(y.positional('file', { type: 'string', demandOption: true, describe: 'Campaign or protocol file, or the name of a built-in protocol' }))
        .option('records', { type: 'string', requiresArg: true, describe: 'Parent folder of the records; records/ in the bench folder when left out' })
        .option('resume', { type: 'boolean', default: false, describe: 'Go on with the newest unfinished folder of this campaign' })
        .option('try-skipped', { type: 'boolean', default: false, describe: 'With --resume: take skipped settings back in' })
        .option('answers', { type: 'string', requiresArg: true, describe: 'File of answers to what a person would be asked, for runs without one' })
        .option('yes', { type: 'boolean', default: false, describe: 'The guard is closed: do not ask before a real rig starts' })
        .option('quiet', { type: 'boolean', default: false, describe: 'No live line, no line per run' })
        .option('report', { type: 'boolean', default: true, describe: 'Analyze and report when the campaign is finished; --no-report leaves both out' })
        .option('json', { type: 'boolean', default: false, describe: 'Machine-readable summary on standard output' })
        .example('$0 run campaigns/scout-settings.yaml', 'the whole campaign, to results.json and report.html')
        .example('$0 run campaigns/scout-settings.yaml --resume', 'goes on where it was interrupted')
        .example('$0 run campaigns/motor-swap.yaml --answers answers.yaml', 'what a person would be asked is answered beforehand')
        .example('$0 run response --set "steps=40"', 'one built-in protocol')
        .epilogue('Ctrl-C stops the motor now; Ctrl-\\ finishes the segment being played first.'),
      async (args) => {
        const reporter = new TerminalReporter({ live: !args.quiet && process.stderr.isTTY, lines: !args.quiet });
        const operator = (ready: ReadyCampaign): Operator => {
          if (args.answers !== undefined) return answersFrom(args.answers, ready);
          return atTerminal() ? terminalOperator(reporter, (photo) => photoProblem(ready.folder, photo)) : NOBODY;
        };
        const options = { ...prepareOptions(args), yes: args.yes, resume: args.resume, trySkipped: args.trySkipped, operator, ...(args.records === undefined ? {} : { records: args.records }) };
        const summary = await runFile(args.file, options, reporter);
        // Everything is written and the motor is still: a late Ctrl-C may not take the figures and the exit code away.
        process.on('SIGINT', () => undefined);
        reporter.close();
        const width = process.stdout.columns ?? Infinity;
        if (!args.json) process.stdout.write(renderSummary(summary, width));
        const end = args.report ? await ending(summary) : { results: null, code: EXIT.done };
        if (args.json) process.stdout.write(`${JSON.stringify({ ...summary, results: end.results }, null, 2)}\n`);
        else if (end.results !== null) process.stdout.write(renderEnding(end.results, width));
        done(worst([exitCode(summary), end.code]));
      },
    );
  },
};

/** Analysis and report of a finished campaign. If they fail, the records and the outcome of the runs stand all the same. */
async function ending(summary: RunSummary): Promise<{ readonly results: RunResults | null; readonly code: ExitCode }> {
  if (summary.stopped !== null || summary.good === 0) {
    process.stderr.write(`Not analyzed: ${summary.good === 0 ? 'no run is good' : 'the campaign is not finished'}. What there is: spoolbench analyze ${summary.folder}\n`);
    return { results: null, code: EXIT.done };
  }
  try {
    const { resultsOf } = await import('../../app/run-results');
    return { results: await resultsOf(summary.folder), code: EXIT.done };
  } catch (error) {
    process.stderr.write(`The runs are done and their records are safe; only analysis or report failed (try spoolbench analyze ${summary.folder}):\n`);
    return { results: null, code: reportFailure(error) };
  }
}

/** What a campaign's session comes to. */
export function exitCode(summary: Pick<RunSummary, 'outcomes' | 'good' | 'planned' | 'stopped'>): ExitCode {
  const codes: ExitCode[] = summary.outcomes.map((outcome) => {
    switch (outcome) {
      case 'done': return EXIT.done;
      case 'stopped':
      case 'finished-early': return EXIT.stoppedByOperator;
      case 'tripped': return EXIT.tripped;
      case 'stop-unconfirmed': return EXIT.stopUnconfirmed;
      case 'starved':
      case 'refused': return EXIT.someFailed;
      case 'failed': return EXIT.internal;
    }
  });
  if (summary.stopped?.startsWith('stopped by the operator') === true) codes.push(EXIT.stoppedByOperator);
  if (summary.good < summary.planned) codes.push(EXIT.someFailed);
  return worst(codes);
}
