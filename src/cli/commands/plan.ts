// spoolbench plan FILE
import type { CommandModule } from '../command';
import { EXIT } from '../exit-codes';
import { planFile } from '../../app/plan-file';
import { renderPlan } from '../plan-text';
import { benchOptions, prepareOptions } from '../options';

/** Only what was given. */
function given<T extends object>(options: T): { [K in keyof T]?: Exclude<T[K], undefined> } {
  return Object.fromEntries(Object.entries(options).filter(([, v]) => v !== undefined)) as { [K in keyof T]?: Exclude<T[K], undefined> };
}

export const planCommand: CommandModule = {
  register(parser, done) {
    parser.command(
      'plan <file>',
      'Dry run of a campaign, a protocol file or a built-in protocol: segments, order, bench time, disk, limits touched. Touches no hardware.',
      (y) => benchOptions(y.positional('file', { type: 'string', demandOption: true, describe: 'Campaign or protocol file, or the name of a built-in protocol' }))
        .option('records', { type: 'string', requiresArg: true, describe: 'Parent folder of earlier records, for what they measured; records/ in the bench folder when left out' })
        .option('detect', { type: 'string', requiresArg: true, describe: 'How many repeats it takes to see a difference of this share, such as "2 %"; or: margins, for those of the campaign file' })
        .option('from', { type: 'string', requiresArg: true, implies: 'detect', describe: 'With --detect: campaign folder whose spread counts; all below the records when left out' })
        .option('json', { type: 'boolean', default: false, describe: 'Machine-readable plan on standard output' })
        .option('ascii', { type: 'boolean', default: false, describe: 'Draw with plain characters only' })
        .option('all', { type: 'boolean', default: false, describe: 'List every run and every segment' })
        .example('$0 plan campaigns/scout-settings.yaml', 'what the campaign will do, and how long it takes')
        .example('$0 plan campaigns/scout-settings.yaml --detect "2 %"', 'how many repeats that takes, from the spread of earlier campaigns')
        .example('$0 plan response --set "high=60 %"', 'one built-in protocol with another upper level'),
      async (args) => {
        const plan = await planFile(args.file, { ...prepareOptions(args), ...given({ records: args.records, detect: args.detect, from: args.from }) });
        const width = Math.min(100, process.stdout.columns ?? 80);
        process.stdout.write(args.json ? `${JSON.stringify(plan, null, 2)}\n` : renderPlan(plan, { width, ascii: args.ascii, all: args.all }));
        done(EXIT.done);
      },
    );
  },
};
