// spoolbench analyze DIR
import { readingCrew, recordsIn } from '../../app/run-crew';
import type { CommandModule } from '../command';
import { EXIT } from '../exit-codes';
import { leftOutText } from '../left-out-text';
import { simulatedBadge, wrap } from '../text';

export const analyzeCommand: CommandModule = {
  register(parser, done) {
    parser.command(
      'analyze <folder>',
      'Turns the records of a campaign into results.json and results.csv: values with uncertainty, contrasts, verdicts, the choice.',
      (y) => y.positional('folder', { type: 'string', demandOption: true, describe: 'Campaign folder' })
        .option('json', { type: 'boolean', default: false, describe: 'The results on standard output' })
        .example('$0 analyze records/scout-settings-2026-03-01T14-05-09Z', 'then: spoolbench report on the same folder'),
      async (args) => {
        // Threads first: they load what they need while this one does.
        const crew = readingCrew(recordsIn(args.folder).length);
        const { analyzeFolder } = await import('../../app/analyze');
        const { results, files, setAside } = await analyzeFolder(args.folder, crew);
        if (setAside.length > 0) process.stderr.write(`earlier results are kept as ${setAside.join(', ')}\n`);
        const width = Math.min(100, process.stderr.columns ?? 100);
        process.stderr.write(leftOutText(results, width));
        if (results.simulated) process.stderr.write(`${simulatedBadge()}\n`);
        for (const sentence of results.answer) process.stderr.write(`${wrap(sentence, width, '')}\n`);
        process.stdout.write(args.json ? `${JSON.stringify(results, null, 2)}\n` : `${files.join('\n')}\n`);
        done(EXIT.done);
      },
    );
  },
};
