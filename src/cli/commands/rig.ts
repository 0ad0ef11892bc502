// spoolbench rig …: commands about the stand itself. One file each; this one only groups them.
import type { CommandModule } from '../command';
import { rigWatchCommand } from './rig-watch';
import { rigCalibrateCommand } from './rig-calibrate';
import { rigCheckCommand } from './rig-check';
import { rigClearCommand } from './rig-clear';

/** Add a line for each command of the group. */
const RIG_COMMANDS: readonly CommandModule[] = [
  rigCalibrateCommand,
  rigCheckCommand,
  rigWatchCommand,
  rigClearCommand,
];

export const rigCommand: CommandModule = {
  register(parser, done) {
    parser.command('rig', 'Commissions the stand: calibration, live readings, checks.', (y) => {
      for (const command of RIG_COMMANDS) command.register(y, done);
      return y.demandCommand(1, 'Which one? See spoolbench rig --help.');
    });
  },
};
