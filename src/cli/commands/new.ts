// spoolbench new DIR
import { newBench } from '../../app/new-bench';
import type { CommandModule } from '../command';
import { EXIT } from '../exit-codes';

export const newCommand: CommandModule = {
  register(parser, done) {
    parser.command(
      'new <dir>',
      'Writes a starter bench folder on the simulated rig.',
      (y) => y.positional('dir', { type: 'string', demandOption: true, describe: 'Folder to make; must be new or empty' })
        .example('$0 new my-bench', 'then: cd my-bench && spoolbench plan campaigns/scout-settings.yaml'),
      (args) => {
        const files = newBench(args.dir);
        process.stderr.write(`Wrote ${files.length} files to ${args.dir}: a bench on the simulated rig.\n`);
        process.stderr.write(`Next: cd ${args.dir} && spoolbench plan campaigns/scout-settings.yaml, then spoolbench run campaigns/scout-settings.yaml\n`);
        for (const file of files) process.stdout.write(`${file}\n`);
        done(EXIT.done);
      },
    );
  },
};
