/** A child process of the study: `truth-worker.ts ARTICLE FILE` plays the noise-free campaigns of an article and writes its truths. */
import fs from 'node:fs';
import { ARTICLES } from './cells';
import { truthsOf } from './truth/truth';

const [name, file] = process.argv.slice(2);
const article = ARTICLES.find((a) => a === name);
if (article === undefined || file === undefined) throw new Error(`usage: truth-worker.ts ${ARTICLES.join('|')} FILE`);
// Under its own name only once it is whole: a study that was stopped here begins again.
fs.writeFileSync(`${file}.part`, JSON.stringify(await truthsOf(article), null, 1));
fs.renameSync(`${file}.part`, file);
