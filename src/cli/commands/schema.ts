// spoolbench schema NAME
import { SCHEMA_NAMES, schemaOf } from '../../app/schemas';
import type { CommandModule } from '../command';
import { EXIT } from '../exit-codes';

export const schemaCommand: CommandModule = {
  register(parser, done) {
    parser.command(
      'schema [name]',
      'Prints a JSON Schema: of a kind of bench file, for editors, or of results.json and of a comparison, for programs that read them. Without a name: lists the names.',
      (y) => y.positional('name', { choices: SCHEMA_NAMES, describe: 'Kind of file' })
        .example('$0 schema', 'every name, one a line')
        .example('$0 schema rig > rig.schema.json', 'then name it in your editor')
        .example('$0 schema results > results.schema.json', 'what `analyze` writes'),
      (args) => {
        process.stdout.write(args.name === undefined ? `${SCHEMA_NAMES.join('\n')}\n` : `${JSON.stringify(schemaOf(args.name), null, 2)}\n`);
        done(EXIT.done);
      },
    );
  },
};
