// spoolbench run FILE
import { runFile, type RunSummary } from '../../app/run-file';
import { answersFrom } from '../../app/answers';
import { photoProblem } from '../../app/applied';
import { NOBODY, type Operator } from '../../app/operator';
import type { ReadyCampaign } from '../../app/prepare';
import type { CommandModule } from '../command';
import { atTerminal, terminalOperator } from '../operator';
import { EXIT, worst, type ExitCode } from '../exit-codes';
import { benchOptions, prepareOptions } from '../options';
import { TerminalReporter } from '../reporter';
import { renderSummary } from '../summary-text';

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
        .option('yes', { type: 'boolean', default: false, describe: 'Do not ask before starting' })
        .option('quiet', { type: 'boolean', default: false, describe: 'No live line, no line per run' })
        .option('json', { type: 'boolean', default: false, describe: 'Machine-readable summary on standard output' })
        .example('$0 run campaigns/scout-settings.yaml', 'the whole campaign')
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
        const options = { ...prepareOptions(args), resume: args.resume, trySkipped: args.trySkipped, operator, ...(args.records === undefined ? {} : { records: args.records }) };
        const summary = await runFile(args.file, options, reporter);
        // Everything is written and the motor is still: a late Ctrl-C may not take the figures and the exit code away.
        process.on('SIGINT', () => undefined);
        reporter.close();
        process.stdout.write(args.json ? `${JSON.stringify(summary, null, 2)}\n` : renderSummary(summary, process.stdout.columns ?? Infinity));
        done(exitCode(summary));
      },
    );
  },
};

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
