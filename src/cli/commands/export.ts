// spoolbench export RECORD|DIR --to csv|parquet
import { exportResults } from '../../app/export-results';
import { EXPORT_FORMATS, exportFile, exportText, isCampaign } from '../../app/records';
import type { CommandModule } from '../command';
import { EXIT } from '../exit-codes';
import { size } from '../text';

export const exportCommand: CommandModule = {
  register(parser, done) {
    parser.command(
      'export <record>',
      'Writes a record as CSV or Parquet: columns with their units, fresh and held samples told apart. Of a campaign folder: its results, repeats, curves and steps with units and uncertainties.',
      (y) => y.positional('record', { type: 'string', demandOption: true, describe: 'A record (*.mcap), or a campaign folder that was analyzed' })
        .option('to', { choices: EXPORT_FORMATS, default: 'csv' as const, describe: 'Format' })
        .option('out', { type: 'string', requiresArg: true, describe: 'File to write, or - for CSV on standard output; beside the record when left out. Of a campaign: folder for the tables, export/ in it when left out' })
        .option('force', { choices: ['N', 'gf'] as const, default: 'N' as const, describe: 'Unit of thrust' })
        .example('$0 export runs/0001-kv.mcap --to parquet', 'writes runs/0001-kv.parquet')
        .example('$0 export runs/0001-kv.mcap --out - | head', 'CSV on standard output')
        .example('$0 export records/scout-settings-2026-03-01T14-05-09Z --to parquet', 'metrics.parquet, repeats.parquet, curves.parquet, steps.parquet in its export/')
        .epilogue('In the tables of a campaign every row carries its unit; u is a standard uncertainty, dof its degrees of freedom (empty: unlimited, or no u).'),
      (args) => {
        const options = args.force === 'gf' ? { force: 'gf' as const } : {};
        if (isCampaign(args.record)) {
          const { files } = exportResults(args.record, args.to, args.out, args.force);
          for (const f of files) process.stderr.write(`${f.path}: ${f.rows} rows, ${size(f.bytes)}\n`);
          process.stdout.write(`${files.map((f) => f.path).join('\n')}\n`);
        } else if (args.out === '-') {
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
