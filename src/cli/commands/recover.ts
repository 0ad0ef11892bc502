// spoolbench recover RECORD
import { recoverFile } from '../../app/records';
import type { CommandModule } from '../command';
import { EXIT } from '../exit-codes';

export const recoverCommand: CommandModule = {
  register(parser, done) {
    parser.command(
      'recover <record>',
      'Saves every complete part of a record that was cut off to a new file. The original is only read.',
      (y) => y.positional('record', { type: 'string', demandOption: true, describe: 'A record (*.mcap) that was cut off' })
        .option('out', { type: 'string', requiresArg: true, describe: 'File to write; beside the record when left out' })
        .example('$0 recover runs/0017-response.mcap', 'writes runs/0017-response.recovered.mcap and reads it back'),
      (args) => {
        const recovery = recoverFile(args.record, args.out);
        process.stderr.write(`${recovery.detail}\n`);
        if (recovery.path !== null) process.stdout.write(`${recovery.path}\n`);
        done(EXIT.done);
      },
    );
  },
};
