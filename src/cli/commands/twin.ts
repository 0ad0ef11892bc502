// spoolbench twin serve --port PATH
import type { CommandModule } from '../command';
import { serveTwin } from '../../app/serve-file';
import type { TwinHappening } from '../../app/twin-serve';
import { HANDS } from '../../app/twin-hands';
import { EXIT } from '../exit-codes';

export const twinCommand: CommandModule = {
  register(parser, done) {
    parser.command('twin', 'The simulated rig on its own.', (y) => y.command(
      'serve',
      'Plays the simulated rig in real time behind our wire on a serial port or a pseudo-terminal, until Ctrl-C.',
      (z) => z.option('port', { type: 'string', demandOption: true, requiresArg: true, describe: 'Port of the board’s side' })
        .option('bench', { type: 'string', requiresArg: true, describe: 'Bench folder; found from the working folder when left out' })
        .option('rig', { type: 'string', requiresArg: true, describe: 'Rig file, when it is not rig.yaml of the bench' })
        .option('twin', { type: 'string', requiresArg: true, describe: 'Which simulated bench; that of the rig file, else scout' })
        .option('seed', { type: 'number', requiresArg: true, describe: 'Seed of its random draws, and its serial number' })
        .option('supply-port', { type: 'number', requiresArg: true, describe: 'Serve its supply too, as a programmable instrument (SCPI) on this TCP port; 0 takes a free one' })
        .option('json', { type: 'boolean', default: false, describe: 'What happens on the bench as a line of JSON each on standard output' })
        .example('socat pty,raw,echo=0,link=/tmp/host pty,raw,echo=0,link=/tmp/board', 'a cable: two pseudo-terminals')
        .example('$0 twin serve --port /tmp/board', 'the bench of the working folder')
        .example('$0 twin serve --port /tmp/board --supply-port 5025', 'and a supply for connection: { kind: tcp, host: 127.0.0.1, port: 5025 }')
        .epilogue(`What hands do at the bench can be typed while it plays:\n${HANDS.map(([text, does]) => `  ${text}: ${does}`).join('\n')}`),
      async (args) => {
        const { port, bench, rig, twin, seed, supplyPort } = args;
        await serveTwin({
          port, hands: true, tell: (h) => tell(h, args.json),
          ...(bench === undefined ? {} : { bench }), ...(rig === undefined ? {} : { rig }), ...(twin === undefined ? {} : { twin }), ...(seed === undefined ? {} : { seed }), ...(supplyPort === undefined ? {} : { supplyPort }),
        });
        done(EXIT.done);
      },
    ).demandCommand(1, 'Which one? See spoolbench twin --help.'));
  },
};

function tell(happening: TwinHappening, json: boolean): void {
  if (json) process.stdout.write(`${JSON.stringify(happening)}\n`);
  else process.stderr.write(`${happening.t_s.toFixed(3)} s  ${text(happening)}\n`);
}

function text(h: TwinHappening): string {
  switch (h.what) {
    case 'port':
    case 'hands': return h.text;
    case 'state': return `board ${h.state}${h.cause === null ? '' : ` (${h.cause})`}, throttle ${(100 * h.throttle).toFixed(1)} %, ${h.speed_rpm.toFixed(0)} rpm`;
    case 'supply': return h.output ? `supply on, ${h.voltage_V.toFixed(2)} V` : 'supply off';
    case 'still': return 'the rotor stands still';
    case 'late': return `the computer was busy: the bench's time stood still for ${h.lost_ms.toFixed(0)} ms`;
  }
}
