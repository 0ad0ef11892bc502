// Entry of the command line: parses, calls one command, sets the exit code.
import yargs from 'yargs';
import { hideBin } from 'yargs/helpers';
import { BadInput } from '../app/errors';
import { EXIT, type ExitCode } from './exit-codes';
import { analyzeCommand } from './commands/analyze';
import { exportCommand } from './commands/export';
import { newCommand } from './commands/new';
import { planCommand } from './commands/plan';
import { recoverCommand } from './commands/recover';
import { reportCommand } from './commands/report';
import { rigCommand } from './commands/rig';
import { runCommand } from './commands/run';
import { schemaCommand } from './commands/schema';
import { showCommand } from './commands/show';
import { statusCommand } from './commands/status';
import { reportFailure } from './failure';

const COMMANDS = [newCommand, planCommand, runCommand, statusCommand, showCommand, exportCommand, analyzeCommand, reportCommand, recoverCommand, schemaCommand, rigCommand] as const;

/** Runs the command line `argv` (without node and script) and returns the exit code. */
export async function main(argv: readonly string[]): Promise<ExitCode> {
  let code: ExitCode = EXIT.done;
  const parser = yargs([...argv])
    .scriptName('spoolbench')
    .usage('$0 <command>\n\nRuns bench protocols on an electric drivetrain under a safety supervisor, keeps raw records, tells what they say.')
    .strict()
    .demandCommand(1, 'Which command? See spoolbench --help.')
    .recommendCommands()
    .help()
    .alias('help', 'h')
    .version()
    .exitProcess(false)
    .wrap(Math.min(110, process.stdout.columns ?? 100))
    .fail((message, error) => {
      if (error !== undefined && error !== null && error.name !== 'YError') throw error;
      // Thrown, not noted: yargs would go on and run the command all the same.
      throw new BadInput([`${message ?? error?.message ?? 'This cannot be understood.'}\nSee spoolbench --help.`]);
    })
    .epilogue(
      'Exit codes: 0 done, 1 internal error, 2 bad input, 3 stopped by the operator, 4 tripped, 5 stop unconfirmed, 6 some runs failed.\n' +
      'A propeller cuts. Guard closed, eye protection on, a way to cut the power within reach. Everything so far is simulated.',
    );
  for (const command of COMMANDS) {
    command.register(parser, (result) => {
      code = result;
    });
  }
  try {
    await parser.parseAsync();
  } catch (error) {
    return reportFailure(error);
  }
  return code;
}

// A reader that has left (`| head`) is no fault, and no reason to stop in the middle of anything.
for (const stream of [process.stdout, process.stderr]) {
  stream.on('error', (error: NodeJS.ErrnoException) => {
    if (error.code !== 'EPIPE') throw error;
  });
}
process.exitCode = await main(hideBin(process.argv));
