// Options that several commands share.
import type { Argv } from 'yargs';
import type { PrepareOptions } from '../app/prepare';

/** `--bench`, `--set`, `--repeats`: how a target becomes a campaign. */
export function benchOptions<T>(y: Argv<T>) {
  return y
    .option('bench', { type: 'string', describe: 'Bench folder; found from the file, or the working folder, when left out', requiresArg: true })
    .option('set', { type: 'array', string: true, default: [] as string[], describe: 'Parameter of a single protocol, NAME=VALUE; may be repeated', requiresArg: true })
    .option('repeats', { type: 'number', describe: 'Repeats of a single protocol', requiresArg: true });
}

/** The shared options as a use case takes them. */
export function prepareOptions(args: { readonly bench?: string | undefined; readonly set: readonly string[]; readonly repeats?: number | undefined }): PrepareOptions {
  return { set: args.set, ...(args.bench === undefined ? {} : { bench: args.bench }), ...(args.repeats === undefined ? {} : { repeats: args.repeats }) };
}
