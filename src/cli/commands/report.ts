// spoolbench report DIR
import { reportFolder } from '../../app/report';
import type { CommandModule } from '../command';
import { EXIT } from '../exit-codes';
import { simulatedBadge, size } from '../text';

export const reportCommand: CommandModule = {
  register(parser, done) {
    parser.command(
      'report <folder>',
      'Writes one page with the answer, charts, raw traces and provenance of a campaign that was analyzed.',
      (y) => y.positional('folder', { type: 'string', demandOption: true, describe: 'Campaign folder with results.json' })
        .option('out', { type: 'string', requiresArg: true, describe: 'File to write; report.html in the folder when left out' })
        .option('json', { type: 'boolean', default: false, describe: 'Machine-readable summary on standard output' })
        .example('$0 report records/scout-settings-2026-03-01T14-05-09Z', 'writes report.html there'),
      (args) => {
        const report = reportFolder(args.folder, args.out);
        for (const remark of report.remarks) process.stderr.write(`${remark}\n`);
        process.stderr.write(`${report.simulated ? `${simulatedBadge()} ` : ''}${report.campaign}: ${report.isNew ? 'report written' : 'the same report is there already'}, ${size(report.bytes)}\n`);
        process.stdout.write(args.json ? `${JSON.stringify(report, null, 2)}\n` : `${report.path}\n`);
        done(EXIT.done);
      },
    );
  },
};
