// spoolbench schema NAME
import { FILE_KINDS, schemaOf } from '../../app/schemas';
import type { CommandModule } from '../command';
import { EXIT } from '../exit-codes';

export const schemaCommand: CommandModule = {
  register(parser, done) {
    parser.command(
      'schema <name>',
      'Prints the JSON Schema of a kind of bench file, for editors.',
      (y) => y.positional('name', { choices: FILE_KINDS, demandOption: true, describe: 'Kind of file' })
        .example('$0 schema rig > rig.schema.json', 'then name it in your editor'),
      (args) => {
        process.stdout.write(`${JSON.stringify(schemaOf(args.name), null, 2)}\n`);
        done(EXIT.done);
      },
    );
  },
};
