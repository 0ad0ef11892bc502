// Child of campaign-kill.test.ts: runs a campaign file to its end on the twin, as `spoolbench run --resume` does, quietly.
import { runFile } from '../../src/app/run-file';
import { SILENT } from '../app/kit';

const [file, records] = process.argv.slice(2);
const summary = await runFile(file, { records, resume: true }, SILENT);
process.stdout.write(JSON.stringify({ good: summary.good, planned: summary.planned, stopped: summary.stopped }));
