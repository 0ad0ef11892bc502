// spoolbench rig calibrate CHANNEL
import { calibrate, type CalibrateOptions, type Calibrated, type Guide } from '../../app/calibrate/calibrate';
import { answeredGuide, NOBODY_CALIBRATES } from '../../app/calibrate/guides';
import { TARGETS, type Target } from '../../app/calibrate/plan';
import { BadInput } from '../../app/errors';
import { parseQuantity, type Dimension } from '../../units';
import { terminalGuide } from '../calibrate-guide';
import { calibrationSummary } from '../calibrate-text';
import type { CommandModule } from '../command';
import { EXIT } from '../exit-codes';
import { atTerminal } from '../operator';

export const rigCalibrateCommand: CommandModule = {
  register(parser, done) {
    parser.command(
      'calibrate <channel>',
      'Guided calibration of one channel against a reference; stored with residuals, uncertainty and expiry. May be interrupted.',
      (y) => y.positional('channel', { choices: TARGETS, demandOption: true, describe: 'What to calibrate' })
        .option('bench', { type: 'string', describe: 'Bench folder; found from the working folder when left out', requiresArg: true })
        .option('points', { type: 'string', requiresArg: true, describe: 'Points to take, such as "50 g, 100 g, 200 g"; spread over the limits of the rig when left out' })
        .option('reference', { type: 'string', requiresArg: true, describe: 'What it is compared with: set of masses, meter' })
        .option('identifier', { type: 'string', requiresArg: true, describe: 'Serial number or certificate of the reference' })
        .option('u', { type: 'string', requiresArg: true, describe: 'Standard uncertainty of the reference, relative, such as "0.05 %"' })
        .option('by', { type: 'string', requiresArg: true, describe: 'Who does it' })
        .option('valid-for', { type: 'string', requiresArg: true, default: '365 d', describe: 'How long it counts' })
        .option('law', { choices: ['auto', 'linear', 'quadratic'] as const, default: 'auto' as const, describe: 'Line or parabola; auto takes a parabola where the points show one' })
        .option('gauge', { type: 'number', requiresArg: true, implies: 'length', describe: 'Leads: wire gauge (AWG), to notice what cannot be right' })
        .option('length', { type: 'string', requiresArg: true, implies: 'gauge', describe: 'Leads: length one way, such as "30 cm"' })
        .option('answers', { type: 'string', requiresArg: true, describe: 'File of answers, for calibrations without a terminal' })
        .option('restart', { type: 'boolean', default: false, describe: 'Forget an unfinished calibration of this channel' })
        .option('json', { type: 'boolean', default: false, describe: 'Machine-readable result on standard output' })
        .example('$0 rig calibrate thrust --reference "mass set, class F2" --u "0.05 %"', 'zero, masses up, creep, masses down')
        .example('$0 rig calibrate current --points "1 A, 5 A, 10 A, 20 A" --reference "bench meter" --u "0.1 %"', 'against a meter')
        .example('$0 rig calibrate lead_resistance --gauge 14 --length "25 cm"', 'drop over the leads at several currents'),
      async (args) => {
        const channel: Target = args.channel;
        const guide: Guide = args.answers !== undefined ? answeredGuide(args.answers, channel) : atTerminal() ? terminalGuide(channel) : NOBODY_CALIBRATES;
        const options: CalibrateOptions = {
          guide, law: args.law, restart: args.restart, valid_days: read('--valid-for', args.validFor, 'time') / 86_400, u_reference: args.u === undefined ? 0 : read('--u', args.u, 'ratio'),
          note: (text) => process.stderr.write(`${text}\n`),
          ...given({ bench: args.bench, points: args.points, reference: args.reference, identifier: args.identifier, by: args.by }),
          ...(args.gauge === undefined || args.length === undefined ? {} : { leads: { gauge: args.gauge, length_m: read('--length', args.length, 'length') } }),
        };
        const result: Calibrated = await calibrate(channel, options);
        process.stdout.write(args.json ? `${JSON.stringify(result, null, 2)}\n` : calibrationSummary(result));
        done(result.file === null ? EXIT.stoppedByOperator : EXIT.done);
      },
    );
  },
};

function read(option: string, text: string, dimension: Dimension): number {
  const parsed = parseQuantity(text, dimension);
  if (!parsed.ok) throw new BadInput([`${option}: ${parsed.message}; accepted: ${parsed.accepted}`]);
  return parsed.value;
}

function given<T extends object>(options: T): { [K in keyof T]?: Exclude<T[K], undefined> } {
  return Object.fromEntries(Object.entries(options).filter(([, v]) => v !== undefined)) as { [K in keyof T]?: Exclude<T[K], undefined> };
}
