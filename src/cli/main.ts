// Entry of the command line: parses, calls one command, sets the exit code.
import yargs from 'yargs';
import { hideBin } from 'yargs/helpers';
import { BadInput } from '../app/errors';
import { EXIT, type ExitCode } from './exit-codes';
import type { CommandModule } from './command';
import { reportFailure } from './failure';

/** Every command by its name, in the order of the help. Only the one that is called is loaded: loading all takes seconds. */
const COMMANDS: Readonly<Record<string, () => Promise<CommandModule>>> = {
  new: async () => (await import('./commands/new')).newCommand,
  plan: async () => (await import('./commands/plan')).planCommand,
  run: async () => (await import('./commands/run')).runCommand,
  status: async () => (await import('./commands/status')).statusCommand,
  show: async () => (await import('./commands/show')).showCommand,
  export: async () => (await import('./commands/export')).exportCommand,
  analyze: async () => (await import('./commands/analyze')).analyzeCommand,
  report: async () => (await import('./commands/report')).reportCommand,
  compare: async () => (await import('./commands/compare')).compareCommand,
  curve: async () => (await import('./commands/curve')).curveCommand,
  fly: async () => (await import('./commands/fly')).flyCommand,
  recover: async () => (await import('./commands/recover')).recoverCommand,
  schema: async () => (await import('./commands/schema')).schemaCommand,
  rig: async () => (await import('./commands/rig')).rigCommand,
  twin: async () => (await import('./commands/twin')).twinCommand,
};

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
  const named = Object.hasOwn(COMMANDS, argv[0] ?? '') ? COMMANDS[argv[0]] : undefined;
  for (const load of named === undefined ? Object.values(COMMANDS) : [named]) {
    (await load()).register(parser, (result) => {
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
