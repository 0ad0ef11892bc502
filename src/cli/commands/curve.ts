// spoolbench curve …: throttle curves. One file each; this one only groups them.
import type { CommandModule } from '../command';
import { curveMatchCommand } from './curve-match';

export const curveCommand: CommandModule = {
  register(parser, done) {
    parser.command('curve', 'Works on throttle curves: what makes a new one feel like an old one.', (y) => {
      curveMatchCommand.register(y, done);
      return y.demandCommand(1, 'Which one? See spoolbench curve --help.');
    });
  },
};
