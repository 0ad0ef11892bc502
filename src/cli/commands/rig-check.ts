// spoolbench rig check
import { confirm, isCancel } from '@clack/prompts';
import { checkRig } from '../../app/rig-check/check';
import type { CheckPerson } from '../../app/rig-check/during';
import { studyMountings } from '../../app/rig-check/mountings';
import { benchFolderOf } from '../../app/bench-folder';
import { BadInput } from '../../app/errors';
import { rigOf } from '../../app/rig-check/rig';
import type { CommandModule } from '../command';
import { checkText, studyText } from '../check-text';
import { EXIT } from '../exit-codes';
import { atTerminal } from '../operator';
import { TerminalReporter } from '../reporter';

export const rigCheckCommand: CommandModule = {
  register(parser, done) {
    parser.command(
      'check',
      'Commissions a rig: noise, first spin, proof that each layer stops the motor, supply, resonance. Or a repeatability study.',
      (y) => y
        .option('bench', { type: 'string', requiresArg: true, default: '.', describe: 'Bench folder' })
        .option('records', { type: 'string', requiresArg: true, describe: 'Parent folder of the records; records/ in the bench folder when left out' })
        .option('mountings', { type: 'number', requiresArg: true, describe: 'Repeatability study instead: mount the article so many times' })
        .option('runs', { type: 'number', requiresArg: true, default: 3, describe: 'Runs in each mounting of the study' })
        .option('throttle', { type: 'number', requiresArg: true, default: 50, describe: 'Throttle of the study, %' })
        .option('yes', { type: 'boolean', default: false, describe: 'Answer every question with yes; on a simulated rig only' })
        .option('json', { type: 'boolean', default: false, describe: 'Machine-readable findings on standard output' })
        .example('$0 rig check', 'the whole check, step by step, in the bench folder')
        .example('$0 rig check --mountings 6 --runs 3', 'what a new mounting changes')
        .epilogue('The motor turns: slowly at first, at full throttle for a second once the stops are proven. Guard closed, hands away, power switch within reach. Ctrl-C stops it.'),
      async (args) => {
        const bench = benchFolderOf(args.bench);
        const { simulated } = rigOf(bench);
        const reporter = new TerminalReporter({ live: process.stderr.isTTY, lines: true });
        const options = { bench, reporter, person: personAt(reporter, args.yes, simulated), ...(args.records === undefined ? {} : { records: args.records }) };
        const width = process.stdout.columns ?? 100;
        if (args.mountings !== undefined) {
          const { study, path } = await studyMountings({ ...options, mountings: args.mountings, runs: args.runs, throttle: args.throttle / 100 });
          reporter.close();
          process.stdout.write(args.json ? `${JSON.stringify(study, null, 2)}\n` : studyText(study, path, width));
          done(study.stopped ? EXIT.stoppedByOperator : EXIT.done);
          return;
        }
        const { check, path, stopped } = await checkRig(options);
        reporter.close();
        process.stdout.write(args.json ? `${JSON.stringify(check, null, 2)}\n` : checkText(check, path, width));
        const failed = [...check.findings, ...check.layers].some((f) => f.verdict === 'fail');
        done(stopped ? EXIT.stoppedByOperator : failed ? EXIT.someFailed : EXIT.done);
      },
    );
  },
};

/** @throws BadInput when nobody can be asked */
function personAt(reporter: TerminalReporter, yes: boolean, simulated: boolean): CheckPerson {
  if (yes && !simulated) throw new BadInput(['--yes: this is a real rig, and somebody has to see that its guard is closed; accepted: no --yes, at a terminal']);
  if (yes) return { ask: () => Promise.resolve('yes'), tell: (text) => { reporter.note(text); } };
  if (!atTerminal()) throw new BadInput(['rig check asks before the motor turns, and nobody can be asked here; accepted: a terminal, or --yes on a simulated rig']);
  return {
    tell: (text) => { reporter.note(text); },
    ask: async (question, detail) => {
      reporter.pause(true);
      try {
        const answer = await confirm({ message: `${simulated ? 'SIMULATED: ' : ''}${question}\n${detail}`, active: 'yes', inactive: 'no', initialValue: false, input: process.stdin, output: process.stderr });
        return isCancel(answer) ? 'stop' : answer ? 'yes' : 'no';
      } finally {
        reporter.pause(false);
      }
    },
  };
}
