#!/usr/bin/env node
// SIMULATED. Reads back what set-headroom.mjs has set; its answer must be the level.
import { readFileSync } from 'node:fs';
import process from 'node:process';
import { tmpdir } from 'node:os';
import { join } from 'node:path';

process.stdout.write(`${readFileSync(join(tmpdir(), 'spoolbench-demo-headroom'), 'utf8')}\n`);
