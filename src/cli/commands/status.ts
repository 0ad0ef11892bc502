// spoolbench status DIR
import { statusOf } from '../../app/status';
import type { CommandModule } from '../command';
import { EXIT } from '../exit-codes';
import { renderStatus } from '../status-text';

export const statusCommand: CommandModule = {
  register(parser, done) {
    parser.command(
      'status <folder>',
      'Tells where a campaign stands, from any terminal: runs, what goes on now, time left, when hands are needed, figures so far. Changes nothing.',
      (y) => y.positional('folder', { type: 'string', demandOption: true, describe: 'A campaign\'s folder below records/' })
        .option('json', { type: 'boolean', default: false, describe: 'Machine-readable status on standard output' })
        .example('$0 status records/scout-settings-2026-03-01T14-05-09Z', 'while it runs, or after it stopped'),
      (args) => {
        const status = statusOf(args.folder);
        process.stdout.write(args.json ? `${JSON.stringify(status, null, 2)}\n` : renderStatus(status));
        done(EXIT.done);
      },
    );
  },
};
