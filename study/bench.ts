/** A bench folder of the study, read and checked as any other. */
import fs from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { prepareCampaign, type ReadyCampaign } from '../src/app/prepare';
import { campaignText, ESC_CLOCK, NOISE_OF, type Cell } from './cells';

const HERE = path.dirname(new URL(import.meta.url).pathname);

/** Writes the folder of a cell and loads it. @returns the campaign as it would be run, and the folder, which the caller removes */
export function benchOf({ article, rig }: Cell, noise = NOISE_OF[rig]): { readonly ready: ReadyCampaign; readonly folder: string } {
  const from = article === 'scout' ? path.join(HERE, '../demo/bench') : path.join(HERE, 'benches');
  const prefix = article === 'scout' ? '' : 'tiny-';
  const folder = fs.mkdtempSync(path.join(os.tmpdir(), 'spoolbench-study-'));
  const rigText = fs.readFileSync(path.join(from, `${prefix}rig.yaml`), 'utf8');
  const link = /link: \{ kind: twin, twin: (\w+), seed: 1 \}/;
  if (!link.test(rigText)) throw new Error(`${from}: the rig file has no line "link: { kind: twin, twin: NAME, seed: 1 }" to put the noise into`);
  const speed = /(speed: \{.*u_gain: )[\d.]+ %/;
  if (!speed.test(rigText)) throw new Error(`${from}: the rig file has no line "speed: { … u_gain: … % }" to put the ESC's clock into`);
  const noisy = rigText.replace(link, `link: { kind: twin, twin: $1, seed: 1, noise: ${noise} }`).replace(speed, `$1${ESC_CLOCK}`);
  // Without noise the load cell of a motor without propeller stands still, which a rig would take for a frozen sensor.
  fs.writeFileSync(path.join(folder, 'rig.yaml'), noise === 'none' ? noisy.replace(/ {2}sensor_frozen: .*\n/, '') : noisy);
  fs.copyFileSync(path.join(from, `${prefix}article.yaml`), path.join(folder, 'article.yaml'));
  fs.mkdirSync(path.join(folder, 'protocols'));
  fs.copyFileSync(path.join(HERE, 'benches/quick-top.yaml'), path.join(folder, 'protocols/quick-top.yaml'));
  fs.mkdirSync(path.join(folder, 'campaigns'));
  const file = path.join(folder, 'campaigns', 'coverage.yaml');
  fs.writeFileSync(file, campaignText(article));
  return { ready: prepareCampaign(file), folder };
}
