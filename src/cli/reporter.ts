// Progress on a terminal: a line a run on standard error, and one live line that is rewritten in place.
import colours from 'picocolors';
import type { LiveReading, Progress, Reporter, RunNews, RunTitle, SoFar } from '../app/reporter';
import type { BenchEvent } from '../model/events';
import type { ClosestApproach } from '../model/trip';
import { formatNumber } from '../units';
import { eventText } from './record-text';
import { soFarLines } from './so-far-text';
import { columnsOf, duration, fitting, simulatedBadge, wrap } from './text';

export interface TerminalOptions {
  /** Rewrite a live line in place (terminals only). */
  readonly live: boolean;
  /** A line for each run and each event worth a word. */
  readonly lines: boolean;
}

/** Which segment plays; `of` is 0 while nothing does. */
interface Playing {
  readonly label: string;
  readonly ordinal: number;
  readonly of: number;
  readonly left_s: number;
}

/** At most so many live lines a second. */
const LIVE_EVERY_MS = 100;
/** Standard acceleration of gravity, 9.80665 m/s² (BIPM, SI Brochure), times a gram. */
const NEWTONS_PER_GRAM_FORCE = 9.80665e-3;
const CLEAR_LINE = '\r\u001b[2K';

export class TerminalReporter implements Reporter {
  private title: RunTitle | null = null;
  private playing: Playing | null = null;
  private reading: (() => LiveReading) | null = null;
  private standing = '';
  private paused = false;
  private lastDrawn_ms = 0;
  private drawn = false;

  constructor(private readonly options: TerminalOptions) {}

  note(text: string): void {
    this.line(text);
  }

  alarm(text: string): void {
    this.always(text);
  }

  preparing(title: RunTitle): void {
    this.title = title;
    this.playing = { label: 'making ready', ordinal: 0, of: 0, left_s: 0 };
    this.draw(true);
  }

  runStarted(title: RunTitle): void {
    this.title = title;
    this.playing = null;
    this.draw(true);
  }

  segment(label: string, ordinal: number, of: number, left_s: number): void {
    this.playing = ordinal === 0 ? null : { label, ordinal, of, left_s };
    this.draw(false);
  }

  live(reading: () => LiveReading): void {
    this.reading = reading;
    this.draw(false);
  }

  progress(progress: Progress): void {
    this.standing = progressText(progress);
  }

  soFar(soFar: SoFar): void {
    if (!this.options.lines) return;
    for (const line of soFarLines(soFar)) this.always(line);
  }

  /** Silences the live line while somebody is asked something, and draws it again after. */
  pause(paused: boolean): void {
    if (paused) this.close();
    this.paused = paused;
  }

  event(event: BenchEvent): void {
    if (event.type === 'tripped' || (event.type === 'stopped' && !event.confirmed)) this.always(`  ${eventText(event)}`);
    else if (event.type === 'operator') this.line(`  ${eventText(event)}`);
  }

  runEnded(news: RunNews): void {
    const { title, outcome } = news;
    const mark = outcome.outcome === 'done' ? colours.green('done') : colours.red(outcome.outcome);
    const desyncs = outcome.desyncs > 0 ? `, ${outcome.desyncs} desync${outcome.desyncs === 1 ? '' : 's'}` : '';
    const line = `${place(title)} ${title.protocol}, ${title.setting}, ${title.mounting === null ? '' : `mounting ${title.mounting}, `}repeat ${title.repeat}: ${mark}${desyncs}${news.figures === '' ? '' : ` · ${news.figures}`}`;
    if (outcome.outcome === 'done') this.line(line);
    else {
      this.always(line);
      this.always(`  ${outcome.detail}`);
      this.always(`  Record: ${news.record}`);
    }
    this.line(colours.dim(`  closest to limits: ${closestLine(news.closest)}`));
  }

  /** Takes the live line away. */
  close(): void {
    if (this.drawn) process.stderr.write(CLEAR_LINE);
    this.drawn = false;
  }

  /** A line for whoever follows along. */
  private line(text: string): void {
    if (this.options.lines) this.always(text);
  }

  /** A line that nobody may miss, however quiet it was asked to be. */
  private always(text: string): void {
    this.close();
    process.stderr.write(`${wrap(text, process.stderr.columns ?? Infinity, '    ')}\n`);
    this.draw(true);
  }

  private draw(now: boolean): void {
    if (!this.options.live || this.paused || this.title === null) return;
    const ms = Date.now();
    if (!now && ms - this.lastDrawn_ms < LIVE_EVERY_MS) return;
    this.lastDrawn_ms = ms;
    const badge = this.title.simulated ? `${simulatedBadge()} ` : '';
    // The last column stays free: a terminal may break the line there.
    const width = Math.max(20, (process.stderr.columns ?? 100) - columnsOf(badge) - 1);
    process.stderr.write(`${CLEAR_LINE}${badge}${fitting(liveLines(this.title, this.playing, this.reading?.() ?? null, this.standing), width)}`);
    this.drawn = true;
  }
}

/** The live line in several lengths, from rich to lean. */
export function liveLines(title: RunTitle, playing: Playing | null, reading: LiveReading | null, standing: string): string[] {
  const at = `${place(title)} ${title.protocol}`;
  const live = liveText(reading);
  const count = playing === null || playing.of === 0 ? '' : `${playing.ordinal}/${playing.of}`;
  const left = playing === null || playing.of === 0 ? '' : `${duration(playing.left_s)} left`;
  const segment = playing === null ? '' : count === '' ? playing.label : `${playing.label} (${count}), ${left}`;
  const full = `${at}, ${title.setting}: ${segment}${live}`;
  return [
    ...(standing === '' ? [] : [`${full} · ${standing}`]), full,
    `${at} ${count === '' ? segment : `${count}, ${left}`}${live}`, `${at} ${count}${live}`, `${at} ${count}${live.replace('throttle ', '')}`, `${at}${live.replace('throttle ', '')}`,
  ];
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

/** `  throttle  50 %  17820 rpm   1.35 A    56 gf  31 °C`. */
export function liveText(reading: LiveReading | null): string {
  if (reading === null) return '';
  const v = reading.values;
  const shown = (key: string, text: (value: number) => string): string => {
    const value = v[key];
    return value === undefined ? '' : `  ${value === null ? '–'.padStart(text(0).length) : text(value)}`;
  };
  return `  throttle ${(100 * reading.throttle).toFixed(0).padStart(3)} %` +
    shown('speed', (x) => `${x.toFixed(0).padStart(5)} rpm`) + shown('current', (x) => `${x.toFixed(2).padStart(5)} A`) +
    shown('thrust', (x) => `${String(Math.round(x / NEWTONS_PER_GRAM_FORCE) + 0).padStart(4)} gf`) + shown('motor_temperature', (x) => `${x.toFixed(0)} °C`);
}

/** `current_peak 55 %, speed 72 %, …`: each limit with the share of it that was reached, nearest first. */
export function closestLine(closest: readonly ClosestApproach[]): string {
  if (closest.length === 0) return 'none was watched';
  return [...closest].sort((a, b) => b.ratio - a.ratio).map((c) => `${c.limit.replace(/^limits\./, '')} ${formatNumber(100 * c.ratio, 2)} %`).join(', ');
}
