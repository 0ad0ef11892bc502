// The file half of the report: the chart library's text and gzip. Everything else in this folder is pure.
import { readFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { gzipSync } from 'node:zlib';
import type { ZoomCode } from './extras';

/** uPlot as text for the page. @throws the system's error when the package is not installed whole */
export function zoomCode(): ZoomCode {
  const { resolve } = createRequire(import.meta.url);
  const read = (file: string): string => readFileSync(resolve(`uplot/dist/${file}`), 'utf8');
  return { script: read('uPlot.iife.min.js'), style: read('uPlot.min.css') };
}

/** Text as base64 of a gzip stream. The stream carries no time of day, so the same text gives the same bytes. */
export function gzipBase64(text: string): string {
  return gzipSync(text, { level: 6 }).toString('base64');
}
