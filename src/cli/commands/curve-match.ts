// spoolbench curve match A B
import { MATCHED_BY, matchPlaces } from '../../app/curve-match';
import type { CommandModule } from '../command';
import { renderMap } from '../curve-text';
import { EXIT } from '../exit-codes';

export const curveMatchCommand: CommandModule = {
  register(parser, done) {
    parser.command(
      'match <old> [new]',
      'Tells which throttle makes the new drivetrain or setting feel like the old one: a table and a cubic expo, with what is left of the difference.',
      (y) => y.positional('old', { type: 'string', demandOption: true, describe: 'Record (*.mcap) or campaign folder with the old curve' })
        .positional('new', { type: 'string', describe: 'The same for the new curve; the first one when left out' })
        .option('from', { type: 'string', requiresArg: true, describe: 'Setting of the old curve; the baseline when left out' })
        .option('to', { type: 'string', requiresArg: true, describe: 'Setting of the new curve; the one that the campaign chooses when left out' })
        .option('by', { choices: MATCHED_BY, default: 'thrust' as const, describe: 'What is made equal' })
        .option('rows', { type: 'number', default: 21, requiresArg: true, describe: 'Rows of the table' })
        .option('json', { type: 'boolean', default: false, describe: 'The map on standard output, in SI units' })
        .example('$0 curve match records/scout-settings-2026-03-01T14-05-09Z', 'from the baseline to the chosen setting')
        .example('$0 curve match records/old --from "44 kHz, 8 deg" --to "88 kHz, 16 deg"', 'two settings of one campaign')
        .example('$0 curve match records/motor-a records/motor-b --from "44 kHz, 8 deg" --to "44 kHz, 8 deg"', 'two motors')
        .example('$0 curve match a.mcap b.mcap --by speed --rows 11', 'two single runs, at equal speed')
        .epilogue('The direction is old throttle in, new throttle out. Exit code 2 when one of them has no curve up to full throttle.'),
      async (args) => {
        const map = await matchPlaces(
          { path: args.old, ...(args.from === undefined ? {} : { setting: args.from }) },
          { path: args.new ?? args.old, ...(args.to === undefined ? {} : { setting: args.to }) }, args.by, args.rows,
        );
        process.stdout.write(args.json ? `${JSON.stringify(map, null, 2)}\n` : renderMap(map, Math.min(100, process.stdout.columns ?? 100)));
        done(EXIT.done);
      },
    );
  },
};
