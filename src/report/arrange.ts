// How settings are spread over panels and lines: panels by one factor, lines by another, so that a panel stays readable.
import type { Results } from '../model/results';
import { SERIES, type SeriesStyle } from './palette';

type Setting = Results['settings'][number];

/** One line of a panel. */
export type Line = { readonly setting: string; readonly name: string; readonly style: SeriesStyle; readonly isBaseline: boolean; readonly isChosen: boolean };
/** One panel. Title empty when there is only one. */
export type Panel = { readonly title: string; readonly lines: readonly Line[] };
/** Panels with the legend that they share. */
export type Arrangement = {
  readonly panels: readonly Panel[];
  readonly legend: readonly { readonly name: string; readonly style: SeriesStyle }[];
  /** What the lines and the panels stand for, in words; null when there is no such factor. */
  readonly lineFactor: string | null;
  readonly panelFactor: string | null;
};

/** Whether all panels share the legend; else each has other lines and needs a key of its own. */
export const sharesLegend = (a: Arrangement): boolean => a.panels.length < 2 || a.legend.length > 0;

/** A factor's name as words. */
export const words = (name: string): string => name.replaceAll('_', ' ');

/** `switching_frequency` → heading case. */
export function headingOf(name: string): string {
  const text = words(name);
  return text.charAt(0).toUpperCase() + text.slice(1);
}

/**
 * Arranges settings. With two or more factors of several levels, lines go by the one with the most levels that still fit
 * a panel, panels by the rest. Otherwise the settings are dealt out in their order, as many a panel as there are styles.
 */
export function arrange(results: Pick<Results, 'factors' | 'settings' | 'baseline' | 'choice'>): Arrangement {
  const { settings, factors } = results;
  const chosen = results.choice?.chosen ?? null;
  const line = (s: Setting, name: string, at: number): Line => ({ setting: s.id, name, style: SERIES[at % SERIES.length], isBaseline: s.id === results.baseline, isChosen: s.id === chosen });
  const several = factors.filter((f) => f.levels.length > 1);
  const lineFactor = several.filter((f) => f.levels.length <= SERIES.length).sort((a, b) => b.levels.length - a.levels.length)[0];
  if (several.length < 2 || lineFactor === undefined) {
    const panels: Panel[] = [];
    for (let i = 0; i < settings.length; i += SERIES.length) {
      const lines = settings.slice(i, i + SERIES.length).map((s, k) => line(s, s.text, k));
      panels.push({ title: settings.length <= SERIES.length ? '' : `settings ${i + 1} to ${i + lines.length}`, lines });
    }
    const single = panels.length === 1 ? panels[0].lines : [];
    return { panels, legend: single.map(({ name, style }) => ({ name, style })), lineFactor: several.length === 1 && panels.length === 1 ? several[0].name : null, panelFactor: null };
  }
  const rest = several.filter((f) => f !== lineFactor);
  const groups = new Map<string, Setting[]>();
  for (const s of settings) {
    const key = rest.map((f) => s.levels[f.name] ?? '').join(', ');
    groups.set(key, [...(groups.get(key) ?? []), s]);
  }
  const panels = [...groups].map(([key, members]): Panel => ({
    title: rest.length === 1 ? `${words(rest[0].name)} ${key}` : key,
    lines: members.map((s) => {
      const level = s.levels[lineFactor.name] ?? '';
      return line(s, level, Math.max(0, lineFactor.levels.indexOf(level)));
    }),
  }));
  return {
    panels, legend: lineFactor.levels.map((level, i) => ({ name: level, style: SERIES[i] })), lineFactor: lineFactor.name,
    panelFactor: rest.map((f) => f.name).join(' and '),
  };
}

/** A setting's words by its id. */
export function textOf(results: Pick<Results, 'settings'>, id: string): string {
  return results.settings.find((s) => s.id === id)?.text ?? id;
}

/** A text with the keys of metrics replaced by their titles: `fall_t80_s within 20 ms` → `Fall by 80 % within 20 ms`. */
export function inTitles(results: Pick<Results, 'metrics'>, text: string): string {
  const [first, ...rest] = text.split(' ');
  const metric = results.metrics.find((m) => m.key === first);
  return metric === undefined ? text : [metric.title, ...rest].join(' ');
}

const HEADLINES = ['kv_rpm_per_V', 'full_throttle_rpm', 'full_throttle_thrust_N', 'power_at_hover_W', 'rise_t80_s', 'fall_t80_s', 'hold_rpm', 'hold_efficacy_N_per_W'];

/** The metrics that tables and charts show in full: those of interest, or the usual ones where the campaign names none. */
export function shownMetrics(results: Pick<Results, 'metrics'>): Results['metrics'] {
  const named = results.metrics.filter((m) => m.of_interest);
  if (named.length > 0) return named;
  const usual = results.metrics.filter((m) => HEADLINES.includes(m.name));
  return usual.length > 0 ? usual : results.metrics.slice(0, HEADLINES.length);
}
