#!/usr/bin/env node
// SIMULATED. A program that changes a factor: JSON on standard input, exit code 0 when it is done. This one only remembers.
import { readFileSync, writeFileSync } from 'node:fs';
import process from 'node:process';
import { tmpdir } from 'node:os';
import { join } from 'node:path';

const { factor, from, to } = JSON.parse(readFileSync(0, 'utf8'));
writeFileSync(join(tmpdir(), 'spoolbench-demo-headroom'), to);
process.stdout.write(`${factor}: ${from ?? 'unknown'} -> ${to}\n`);
