// Entry of the command line: parses, calls one command, sets the exit code.
import yargs from 'yargs';
import { hideBin } from 'yargs/helpers';
import { EXIT, type ExitCode } from './exit-codes';
import { exportCommand } from './commands/export';
import { newCommand } from './commands/new';
import { planCommand } from './commands/plan';
import { recoverCommand } from './commands/recover';
import { runCommand } from './commands/run';
import { schemaCommand } from './commands/schema';
import { showCommand } from './commands/show';
import { statusCommand } from './commands/status';
import { reportFailure } from './failure';

const COMMANDS = [newCommand, planCommand, runCommand, statusCommand, showCommand, exportCommand, recoverCommand, schemaCommand] as const;

/** Runs the command line `argv` (without node and script) and returns the exit code. */
export async function main(argv: readonly string[]): Promise<ExitCode> {
  let code: ExitCode = EXIT.done;
  let usage = '';
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
      if (error !== undefined && error !== null) throw error;
      usage = message;
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
  if (usage !== '') {
    process.stderr.write(`${usage}\n`);
    return EXIT.badInput;
  }
  return code;
}

process.exitCode = await main(hideBin(process.argv));
