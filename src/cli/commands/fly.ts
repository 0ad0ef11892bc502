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
        // What is assumed is the same for every setting and is said once, at the end.
        const assumed = [...new Set(told.flights.flatMap((f) => f.sentences.filter((s) => s.startsWith('Assumed:'))))];
        const paragraphs = [...told.flights.map((f) => f.sentences.filter((s) => !assumed.includes(s))), ...told.changes.map((c) => c.sentences), assumed].filter((p) => p.length > 0);
        if (told.simulated) process.stderr.write(`${simulatedBadge()}\n`);
        process.stdout.write(args.json ? `${JSON.stringify(told, null, 2)}\n` : paragraphs.map(paragraph).join('\n'));
        done(EXIT.done);
      },
    );
  },
};
