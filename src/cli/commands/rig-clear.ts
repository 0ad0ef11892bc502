// spoolbench rig clear
import { confirm, isCancel } from '@clack/prompts';
import { benchFolderOf } from '../../app/bench-folder';
import { clearRig } from '../../app/clear-rig';
import { BadInput } from '../../app/errors';
import type { CommandModule } from '../command';
import { EXIT } from '../exit-codes';
import { atTerminal } from '../operator';
import { TerminalReporter } from '../reporter';

export const rigClearCommand: CommandModule = {
  register(parser, done) {
    parser.command(
      'clear',
      'Clears a trip that the board holds from before, once its cause is known. Nothing is armed by it.',
      (y) => y
        .option('bench', { type: 'string', requiresArg: true, default: '.', describe: 'Bench folder' })
        .option('yes', { type: 'boolean', default: false, describe: 'The cause is known: do not ask' })
        .example('$0 rig clear', 'shows what the board holds and asks'),
      async (args) => {
        const reporter = new TerminalReporter({ live: false, lines: true });
        const end = await clearRig({
          bench: benchFolderOf(args.bench), reporter,
          confirm: async (trip) => {
            process.stderr.write(`${trip}\n`);
            if (args.yes) return true;
            if (!atTerminal()) throw new BadInput(['rig clear asks whether the cause is known, and nobody can be asked here; accepted: a terminal, or --yes']);
            const answer = await confirm({ message: 'Is the cause known and removed?', active: 'yes, clear it', inactive: 'no', initialValue: false, input: process.stdin, output: process.stderr });
            return !isCancel(answer) && answer;
          },
        });
        reporter.close();
        const said = { nothing: 'The board holds no trip.', left: 'Left as it is.', cleared: 'Cleared. Nothing is armed.', stays: 'It stays:' }[end.end];
        process.stdout.write(`${said}${end.end === 'stays' ? `\n${end.reasons.map((r) => `  ${r}`).join('\n')}` : ''}\n`);
        done(end.end === 'stays' ? EXIT.tripped : end.end === 'left' ? EXIT.stoppedByOperator : EXIT.done);
      },
    );
  },
};
