// spoolbench compare DIR DIR
import { compareFolders } from '../../app/compare';
import type { CommandModule } from '../command';
import { renderComparison } from '../compare-text';
import { EXIT } from '../exit-codes';

export const compareCommand: CommandModule = {
  register(parser, done) {
    parser.command(
      'compare <first> <second>',
      'Compares two campaigns (another day, another motor): per shared setting and metric the difference of the second with its interval and verdict. Changes neither.',
      (y) => y.positional('first', { type: 'string', demandOption: true, describe: 'Campaign folder that is compared with' })
        .positional('second', { type: 'string', demandOption: true, describe: 'Campaign folder that is judged' })
        .option('all', { type: 'boolean', default: false, describe: 'Every metric at every setting, not only those that margins or choice name' })
        .option('remounted', { type: 'boolean', default: false, describe: 'The article was bolted on anew in between, whatever the files say' })
        .option('out', { type: 'string', requiresArg: true, describe: 'File to write the comparison to as JSON (`spoolbench schema comparison`); nothing is written without it' })
        .option('json', { type: 'boolean', default: false, describe: 'The comparison on standard output' })
        .example('$0 compare records/monday records/friday', 'did the bench stay the same?')
        .example('$0 compare records/motor-a records/motor-b --remounted', 'is the second motor better?')
        .example('$0 compare records/motor-a records/motor-b --out a-b.json', 'keeps every figure')
        .epilogue('Exit code 2 when the two may not be compared: simulated against measured, other rigs, other supply voltage, no setting or protocol in common.'),
      async (args) => {
        const comparison = await compareFolders(args.first, args.second, { remounted: args.remounted, ...(args.out === undefined ? {} : { out: args.out }) });
        process.stdout.write(args.json ? `${JSON.stringify(comparison, null, 2)}\n` : renderComparison(comparison, { all: args.all, width: process.stdout.columns ?? Infinity, folders: [args.first, args.second] }));
        if (args.out !== undefined) process.stderr.write(`${args.out} written\n`);
        done(EXIT.done);
      },
    );
  },
};
