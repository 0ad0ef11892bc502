// spoolbench fly DIR --craft FILE
import { flyFolder } from '../../app/fly';
import type { CommandModule } from '../command';
import { EXIT } from '../exit-codes';
import { simulatedBadge, wrap } from '../text';

export const flyCommand: CommandModule = {
  register(parser, done) {
    parser.command(
      'fly <folder>',
      'Tells what the settings of a campaign mean in the air: hover throttle, hover power, endurance and thrust margin, in sentences with intervals.',
      (y) => y.positional('folder', { type: 'string', demandOption: true, describe: 'Campaign folder' })
        .option('craft', { type: 'string', requiresArg: true, describe: 'Craft file; the craft that the records hold when left out' })
        .option('setting', { type: 'array', string: true, default: [] as string[], requiresArg: true, describe: 'Setting to tell about, may be repeated; the first is what the others are compared with. The baseline and the chosen one when left out' })
        .option('json', { type: 'boolean', default: false, describe: 'Machine-readable on standard output' })
        .example('$0 fly records/scout-settings-2026-03-01T14-05-09Z --craft craft.yaml', 'the baseline, and what the chosen setting changes')
        .example('$0 fly records/scout-settings-2026-03-01T14-05-09Z --craft heavy.yaml --setting "44 kHz, 8 deg" --setting "88 kHz, 16 deg"', 'another craft, two settings')
        .epilogue('Static thrust of one drivetrain in still air: level hover, no forward flight. Exit code 2 when no run can be used or no craft is described.'),
      async (args) => {
        const told = await flyFolder(args.folder, args.craft, args.setting);
        const width = Math.min(100, process.stdout.columns ?? 100);
        const paragraph = (sentences: readonly string[]): string => `${sentences.map((s) => wrap(s, width, '  ')).join('\n')}\n`;
        if (told.simulated) process.stderr.write(`${simulatedBadge()}\n`);
        process.stdout.write(args.json ? `${JSON.stringify(told, null, 2)}\n` : [...told.flights.map((f) => paragraph(f.sentences)), ...told.changes.map((c) => paragraph(c.sentences))].join('\n'));
        done(EXIT.done);
      },
    );
  },
};
