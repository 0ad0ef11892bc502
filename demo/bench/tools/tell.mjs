#!/usr/bin/env node
// SIMULATED. Is told when a campaign has finished, tripped or needs hands. Put your own way of being called here.
import { appendFileSync, readFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';

const { event, campaign, detail } = JSON.parse(readFileSync(0, 'utf8'));
appendFileSync(join(tmpdir(), 'spoolbench-demo-notices'), `${campaign} ${event}: ${detail}\n`);
