// spoolbench rig watch [RIG]
import { watchRig, type WatchLook } from '../../app/watch-rig';
import type { CommandModule } from '../command';
import { EXIT } from '../exit-codes';
import { healthText, simulatedBadge } from '../text';

const CLEAR_LINE = '\r\u001b[2K';

export const rigWatchCommand: CommandModule = {
  register(parser, done) {
    parser.command(
      'watch [rig]',
      'Live readings and the health of the link; nothing is armed. Until Ctrl-C.',
      (y) => y.positional('rig', { type: 'string', default: '.', describe: 'Rig file or bench folder' })
        .option('for', { type: 'number', requiresArg: true, describe: 'Seconds to watch; until Ctrl-C when left out' })
        .option('every', { type: 'number', default: 0.5, requiresArg: true, describe: 'Seconds between two looks' })
        .option('json', { type: 'boolean', default: false, describe: 'A line of JSON for each look on standard output' })
        .example('$0 rig watch', 'the bench of the working folder')
        .example('$0 rig watch rig.yaml --for 10 --json', 'ten seconds, for a program'),
      async (args) => {
        const live = !args.json && process.stdout.isTTY;
        await watchRig(args.rig, {
          every_s: args.every, ...(args.for === undefined ? {} : { for_s: args.for }),
          note: (text) => process.stderr.write(`${text}\n`),
          look: (look) => {
            if (args.json) process.stdout.write(`${JSON.stringify(asJson(look))}\n`);
            else process.stdout.write(live ? `${CLEAR_LINE}${watchLine(look)}` : `${watchLine(look)}\n`);
          },
        });
        if (live) process.stdout.write('\n');
        done(EXIT.done);
      },
    );
  },
};

const SHOWN: Readonly<Record<string, (value: number) => string>> = {
  current: (x) => `${x.toFixed(3)} A`, voltage: (x) => `${x.toFixed(3)} V`, speed: (x) => `${x.toFixed(0)} rpm`, thrust: (x) => `${x.toFixed(3)} N`,
  motor_temperature: (x) => `motor ${x.toFixed(1)} °C`, esc_temperature: (x) => `ESC ${x.toFixed(1)} °C`, torque: (x) => `${(1000 * x).toFixed(2)} mN·m`,
};

/** `0.004 A  7.601 V  – rpm  …  · link 20 rows, 0 damaged, 0 missing · may be armed`. */
export function watchLine(look: WatchLook): string {
  const values = look.channels.map((c) => {
    const value = look.reading?.values[c.kind] ?? null;
    return value === null ? `${c.kind} –` : (SHOWN[c.kind]?.(value) ?? `${c.kind} ${value}`);
  });
  const { health } = look;
  const link = health === null ? `${look.rows} rows` : `link ${look.rows} rows, ${healthText(health)}`;
  const leave = look.blocks.length === 0 ? 'may be armed' : `not to be armed: ${look.blocks.join(' ')}`;
  return `${look.simulated ? `${simulatedBadge()} ` : ''}${values.join('  ')} · ${link} · ${leave}`;
}

function asJson(look: WatchLook) {
  return { rig: look.rig, simulated: look.simulated, t_s: look.t_s, values: look.reading?.values ?? null, rows: look.rows, link: look.health, not_to_be_armed: look.blocks };
}
