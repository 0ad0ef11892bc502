// Progress on a terminal: a line a run on standard error, and one live line that is rewritten in place.
import colours from 'picocolors';
import type { LiveReading, Progress, Reporter, RunNews, RunTitle } from '../app/reporter';
import type { BenchEvent } from '../model/events';
import type { ClosestApproach } from '../model/trip';
import { formatNumber, formatQuantity } from '../units';
import { eventText } from './record-text';
import { duration, simulatedBadge } from './text';

export interface TerminalOptions {
  /** Rewrite a live line in place (terminals only). */
  readonly live: boolean;
  /** A line for each run and each event worth a word. */
  readonly lines: boolean;
}

/** At most so many live lines a second. */
const LIVE_EVERY_MS = 100;
const CLEAR_LINE = '\r\u001b[2K';

export class TerminalReporter implements Reporter {
  private title: RunTitle | null = null;
  private playing = '';
  private reading: LiveReading | null = null;
  private standing = '';
  private paused = false;
  private lastDrawn_ms = 0;
  private drawn = false;

  constructor(private readonly options: TerminalOptions) {}

  note(text: string): void {
    this.line(text);
  }

  preparing(title: RunTitle): void {
    this.title = title;
    this.playing = 'making ready';
    this.draw(true);
  }

  runStarted(title: RunTitle): void {
    this.title = title;
    this.playing = '';
    this.draw(true);
  }

  segment(label: string, ordinal: number, of: number, left_s: number): void {
    this.playing = ordinal === 0 ? '' : `${label} (${ordinal}/${of}), ${duration(left_s)} left`;
    this.draw(false);
  }

  live(reading: LiveReading): void {
    this.reading = reading;
    this.draw(false);
  }

  progress(progress: Progress): void {
    this.standing = progressText(progress);
  }

  /** Silences the live line while somebody is asked something, and draws it again after. */
  pause(paused: boolean): void {
    if (paused) this.close();
    this.paused = paused;
  }

  event(event: BenchEvent): void {
    if (event.type === 'tripped' || event.type === 'operator' || (event.type === 'stopped' && !event.confirmed)) this.line(`  ${eventText(event)}`);
  }

  runEnded(news: RunNews): void {
    if (!this.options.lines) return;
    const { title, outcome } = news;
    const mark = outcome.outcome === 'done' ? colours.green('done') : colours.red(outcome.outcome);
    const desyncs = outcome.desyncs > 0 ? `, ${outcome.desyncs} desync${outcome.desyncs === 1 ? '' : 's'}` : '';
    this.line(`${place(title)} ${title.protocol}, ${title.setting}, repeat ${title.repeat}: ${mark}${desyncs}${news.figures === '' ? '' : ` · ${news.figures}`}`);
    if (outcome.outcome !== 'done') this.line(`  ${outcome.detail}\n  Record: ${news.record}`);
    this.line(colours.dim(`  closest to limits: ${closestLine(news.closest)}`));
  }

  /** Takes the live line away. */
  close(): void {
    if (this.drawn) process.stderr.write(CLEAR_LINE);
    this.drawn = false;
  }

  private line(text: string): void {
    if (!this.options.lines) return;
    this.close();
    process.stderr.write(`${text}\n`);
    this.draw(true);
  }

  private draw(now: boolean): void {
    if (!this.options.live || this.paused || this.title === null) return;
    const ms = Date.now();
    if (!now && ms - this.lastDrawn_ms < LIVE_EVERY_MS) return;
    this.lastDrawn_ms = ms;
    const width = process.stderr.columns ?? 100;
    const left = this.standing === '' ? '' : ` · ${this.standing}`;
    const badge = this.title.simulated ? `${simulatedBadge()} ` : '';
    const text = `${place(this.title)} ${this.title.protocol}, ${this.title.setting}: ${this.playing}  ${liveText(this.reading)}${left}`;
    process.stderr.write(`${CLEAR_LINE}${badge}${text.slice(0, Math.max(20, width - (this.title.simulated ? 13 : 1)))}`);
    this.drawn = true;
  }
}

/** `bench time left 42 min, hands in 12 min before run 31`. */
export function progressText(p: Progress): string {
  const hands = p.nextHands === null ? '' : `, hands in ${duration(p.nextHands.in_s)} before run ${p.nextHands.run}`;
  return `bench time left ${duration(p.left_s)}${hands}`;
}

function place(title: RunTitle): string {
  const width = String(title.of).length;
  return `[${String(title.index).padStart(width)}/${title.of}]`;
}

/** `throttle 50 %  17820 rpm  1.3 A  56 gf  31 °C`. */
export function liveText(reading: LiveReading | null): string {
  if (reading === null) return '';
  const v = reading.values;
  const shown = (key: string, text: (value: number) => string): string => {
    const value = v[key];
    return value === undefined ? '' : `  ${value === null ? '–' : text(value)}`;
  };
  return `throttle ${(100 * reading.throttle).toFixed(1).padStart(5)} %` +
    shown('speed', (x) => `${x.toFixed(0).padStart(5)} rpm`) + shown('current', (x) => `${x.toFixed(2).padStart(5)} A`) +
    shown('thrust', (x) => formatQuantity(x, 'force').padStart(8)) + shown('motor_temperature', (x) => `${x.toFixed(0)} °C`);
}

/** `current_peak 55 %, speed 72 %, …`: each limit with the share of it that was reached, nearest first. */
export function closestLine(closest: readonly ClosestApproach[]): string {
  if (closest.length === 0) return 'none was watched';
  return [...closest].sort((a, b) => b.ratio - a.ratio).map((c) => `${c.limit.replace(/^limits\./, '')} ${formatNumber(100 * c.ratio, 2)} %`).join(', ');
}
