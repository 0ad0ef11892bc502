// spoolbench export RECORD --to csv|parquet
import { EXPORT_FORMATS, exportFile, exportText } from '../../app/records';
import type { CommandModule } from '../command';
import { EXIT } from '../exit-codes';
import { size } from '../text';

export const exportCommand: CommandModule = {
  register(parser, done) {
    parser.command(
      'export <record>',
      'Writes a record as CSV or Parquet: columns with their units, fresh and held samples told apart.',
      (y) => y.positional('record', { type: 'string', demandOption: true, describe: 'A record (*.mcap)' })
        .option('to', { choices: EXPORT_FORMATS, default: 'csv' as const, describe: 'Format' })
        .option('out', { type: 'string', requiresArg: true, describe: 'File to write, or - for CSV on standard output; beside the record when left out' })
        .option('force', { choices: ['N', 'gf'] as const, default: 'N' as const, describe: 'Unit of thrust' })
        .example('$0 export runs/0001-kv.mcap --to parquet', 'writes runs/0001-kv.parquet')
        .example('$0 export runs/0001-kv.mcap --out - | head', 'CSV on standard output'),
      (args) => {
        const options = args.force === 'gf' ? { force: 'gf' as const } : {};
        if (args.out === '-') {
          exportText(args.record, (text) => process.stdout.write(text), options);
        } else {
          const result = exportFile(args.record, args.to, args.out, options);
          process.stderr.write(`${result.rows} rows, ${size(result.bytes)}${result.end.status === 'complete' ? '' : `; the record is ${result.end.status}: ${result.end.detail}`}\n`);
          process.stdout.write(`${result.path}\n`);
        }
        done(EXIT.done);
      },
    );
  },
};
