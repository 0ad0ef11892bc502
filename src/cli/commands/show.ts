// spoolbench show RECORD
import { showRecord } from '../../app/records';
import type { CommandModule } from '../command';
import { EXIT } from '../exit-codes';
import { renderRecord } from '../record-text';

export const showCommand: CommandModule = {
  register(parser, done) {
    parser.command(
      'show <record>',
      'Tells what a record holds: what was run, how it ended, rates and ranges, events, how near each limit came.',
      (y) => y.positional('record', { type: 'string', demandOption: true, describe: 'A record (*.mcap)' })
        .option('json', { type: 'boolean', default: false, describe: 'Machine-readable summary on standard output' })
        .option('all', { type: 'boolean', default: false, describe: 'Every segment and every event' })
        .example('$0 show records/scout-settings-2026-03-01T14-05-09Z/runs/0001-kv.mcap', 'one run'),
      (args) => {
        const summary = showRecord(args.record);
        process.stdout.write(args.json ? `${JSON.stringify(summary, null, 2)}\n` : renderRecord(args.record, summary, args.all));
        done(EXIT.done);
      },
    );
  },
};
