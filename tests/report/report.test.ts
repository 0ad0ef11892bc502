// Goal: the page says everything that issue and design ask for, whatever is missing from the results, and nothing that it must not.
// Method: results of a made-up campaign, rendered in memory; the page is parsed as HTML and its text and charts are looked at.
import { parseHTML } from 'linkedom';
import { describe, expect, test } from 'vitest';
import { NO_EXTRAS, renderReport, SECTION_IDS, type ReportExtras, type Trace } from '../../src/report';
import { makeResults } from './make-results';

type Found = { tagName: string; textContent: string; getAttribute(name: string): string | null; querySelector(s: string): Found | null; querySelectorAll(s: string): Found[]; innerHTML: string };
const parsed = (page: string): Found => (parseHTML(page) as unknown as { readonly document: Found }).document;
const all = (at: Found, what: string): Found[] => [...at.querySelectorAll(what)];
/** What a reader sees: every part of the page but scripts. */
const text = (at: Found): string => all(at, 'body > *').filter((e) => e.tagName !== 'SCRIPT').map((e) => all(e, 'script').reduce((t, s) => t.replace(s.textContent, ''), e.textContent)).join('\n');

const trace = (over: Partial<Trace> = {}): Trace => {
  const t_s = Float64Array.from({ length: 2000 }, (_, i) => i / 1000);
  return {
    run: '0001-thrust-curve', why: 'chosen setting', setting: '44 kHz, 16 deg', label: 'thrust-curve', sha256: 'ab'.repeat(32), segments: [{ t_s: 0, label: 'up' }],
    series: [{ name: 'Throttle', unit: '%', t_s, value: t_s.map((t) => 50 * t) }, { name: 'Speed', unit: 'rpm', t_s, value: t_s.map((t) => 20_000 * t + 50 * Math.sin(900 * t)) }], ...over,
  };
};
const extras = (over: Partial<ReportExtras> = {}): ReportExtras => ({ ...NO_EXTRAS, traces: [trace()], zoom: { script: 'var uPlot;', style: '.u{}' }, ...over });

const PLACES = [
  ['two factors', {}], ['one factor', { factors: { timing_advance: ['0 deg', '8 deg', '16 deg'] } }], ['one setting', { factors: {} }], ['thirteen settings of one factor', { factors: { propeller: Array.from({ length: 13 }, (_, i) => `p${i}`) } }],
  ['three factors', { factors: { a: ['1', '2'], b: ['x', 'y', 'z'], c: ['k', 'l'] } }], ['one repeat', { repeats: 1 }], ['two repeats', { repeats: 2 }], ['no baseline', { baseline: false }], ['no choice', { choice: false }],
  ['no usable repeat', { usable: false }], ['no usable repeat and no choice', { usable: false, choice: false, baseline: false }], ['no runs at all', { usable: false, runs: 0 }], ['no metric', { metrics: [] }],
] as const;

describe.each(PLACES)('the page of a campaign with %s', (_, making) => {
  const page = renderReport(makeResults(making), extras());
  const document = parsed(page);

  test('has every section once, in order, with a heading and something to read', () => {
    const sections = all(document, 'main > section');
    expect(sections.map((s) => s.getAttribute('id'))).toEqual([...SECTION_IDS]);
    for (const s of sections) {
      expect(s.querySelector('h2')?.textContent.trim()).not.toBe('');
      expect(s.textContent.replace(s.querySelector('h2')?.textContent ?? '', '').trim()).not.toBe('');
    }
  });

  test('never shows a number that is none', () => {
    expect(text(document)).not.toMatch(/\b(NaN|undefined|null|Infinity)\b|\[object/);
    for (const svg of all(document, 'svg')) expect(svg.innerHTML).not.toMatch(/NaN|undefined|null|Infinity/);
  });

  test('titles and describes every chart, and writes on each that it is simulated', () => {
    for (const svg of all(document, 'svg[role=img]')) {
      const [title, description] = (svg.getAttribute('aria-labelledby') ?? '').split(' ').map((id) => all(svg, `#${id}`)[0]?.textContent ?? '');
      expect(title).toMatch(/\(simulated\)$/);
      expect(description.length).toBeGreaterThan(20);
      expect(all(svg, 'text').map((t) => t.textContent)).toContain('SIMULATED');
    }
  });

  test('gives no id twice', () => {
    const ids = all(document, '[id]').map((e) => e.getAttribute('id'));
    expect(new Set(ids).size).toBe(ids.length);
  });
});

describe('the page', () => {
  const page = renderReport(makeResults(), extras());
  const document = parsed(page);

  test('opens with the answer in three sentences, before any chart', () => {
    expect(all(document, '.answer p').map((p) => p.textContent)).toEqual(['Take the last setting.', 'It saves 3 %.', 'It costs nothing.']);
    expect(page.indexOf('class="answer"')).toBeLessThan(page.indexOf('role="img"'));
  });

  test('needs nothing from a network: no address but the name of the SVG namespace', () => {
    expect(page.replaceAll('http://www.w3.org/2000/svg', '').replaceAll('http://www.w3.org/1999/xlink', '')).not.toMatch(/https?:\/\/|src=|@import|url\(/);
    expect(all(document, 'link')).toHaveLength(0);
  });

  test('has curves, steps, intervals, interaction, drift and limits as charts', () => {
    const charts = (id: string): number => all(document, `#${id} svg[role=img]`).length;
    expect({ curves: charts('curves'), steps: charts('steps'), intervals: charts('intervals'), interaction: charts('interaction'), drift: charts('drift'), limits: charts('limits'), traces: charts('traces'), chosen: charts('chosen') })
      .toEqual({ chosen: 7, curves: 10, steps: 4, intervals: 7, interaction: 7, drift: 7, limits: 1, traces: 1 });
  });

  test('says each verdict in words and by a sign, not by colour alone', () => {
    const cells = all(document, '#verdicts table.verdicts td').map((c) => c.textContent.replace(/\s+/g, ' '));
    for (const said of ['▲ better', '▼ worse', '= no difference', '≠ different', '? not settled, 4 more']) {
      const [sign, word] = [said.slice(0, 1), said.slice(2)];
      expect(cells.some((c) => c.startsWith(sign) && c.endsWith(word)), said).toBe(true);
    }
  });

  test('sets the choice against the baseline: the same panels, the price in units of margins, both values and the difference', () => {
    const chosen = all(document, '#chosen')[0];
    expect(all(chosen, 'h4').map((h) => h.textContent)).toEqual(['Thrust', 'Speed', 'Thrust per watt', 'Power at equal thrust, less baseline', 'Step up', 'Step down']);
    expect(all(chosen, '.legend .entry').map((e) => e.textContent.trim())).toEqual(['44 kHz, 16 deg (chosen)', '22 kHz, 0 deg (baseline)']);
    const margins = all(chosen, 'svg[role=img]').find((s) => s.textContent.includes('Differences in units of their margins'));
    // The made-up difference of the last of five contrasts is 5 % with a margin of 2 %: 2.5 margins; less power is better, less speed is worse.
    expect(margins?.textContent).toContain('Full-throttle speed 2.50 (0.25 to 0.75)');
    expect(margins?.textContent).toContain('Power at hover thrust -2.50 (-0.75 to -0.25)');
    expect(all(chosen, 'tbody tr')).toHaveLength(7);
    const without = (making: Parameters<typeof makeResults>[0]): string => all(parsed(renderReport(makeResults(making), NO_EXTRAS)), '#chosen')[0].textContent;
    expect(without({ choice: false })).toContain('states no objective');
    expect(without({ baseline: false })).toContain('No baseline is stated');
    expect(without({ usable: false })).toContain('No setting is chosen: no run can be used');
  });

  test('crosses every pair of three factors: a figure where an interaction shows, a table of all', () => {
    const three = makeResults({ factors: { a: ['1', '2'], b: ['x', 'y', 'z'], c: ['k', 'l'] } });
    const effect = (p: number) => ({ dof: 1, mean_square: 1, f: 4, p });
    const metrics = three.metrics.map((m, i) => ({ ...m, factorial: m.factorial === null ? null : {
      ...m.factorial, interaction: null, interactions: [{ factors: ['a', 'b'], effect: effect(i === 0 ? 0.001 : 0.4) }, { factors: ['a', 'c'], effect: effect(0.4) }, { factors: ['b', 'c'], effect: effect(0.4) }],
    } }));
    const seen = all(parsed(renderReport({ ...three, metrics }, NO_EXTRAS)), '#interaction')[0];
    expect(all(seen, 'svg[role=img]')).toHaveLength(1);
    expect(all(seen, 'svg[role=img] desc')[0].textContent).toContain('Interaction: p 0.001');
    expect(seen.textContent).toContain('Not drawn, because nothing tells their interaction from scatter in any metric shown: a with c; c with b');
    expect(all(seen, 'table').map((t) => all(t, 'thead th').map((h) => h.textContent))).toEqual([['Metric', 'A', 'B', 'C'], ['Metric', 'A with b', 'A with c', 'B with c']]);
    expect(all(seen, 'table')[1].textContent).toContain('4.0 (0.400)');
  });

  test('no chart has lines that nothing names: more settings than styles get a key in every panel', () => {
    const many = all(parsed(renderReport(makeResults({ factors: { propeller: Array.from({ length: 13 }, (_, i) => `p${i}`) } }), NO_EXTRAS)), '#curves')[0];
    const panels = all(many, '.panel');
    expect(panels.length).toBeGreaterThan(4);
    for (const panel of panels) {
      const named = all(panel, '.legend .entry').map((e) => e.textContent.trim());
      // A single line is named by its heading: settings 11 to 13 are three, so every panel has two or more.
      expect(named.length).toBeGreaterThanOrEqual(2);
      for (const name of named) expect(panel.querySelector('desc')?.textContent).toContain(name);
    }
    expect(all(parsed(renderReport(makeResults({ factors: { a: ['1', '2', '3'] } }), NO_EXTRAS)), '#curves figure')).toHaveLength(1);
  });

  test('lists below the table why a verdict is missing', () => {
    const once = all(parsed(renderReport(makeResults({ repeats: 1 }), NO_EXTRAS)), '#verdicts')[0].textContent;
    expect(once).toContain('every metric: one repeat a setting: nothing to judge the difference by');
  });

  test('names the sources of its methods', () => {
    const methods = all(document, '#methods')[0].textContent;
    for (const source of ['JCGM 100', 'IEEE Std 181', 'Kramer (1956)', 'Games & Howell', 'Dunnett (1955)', 'Schuirmann (1987)', 'Holm (1979)', 'Welch (1947)', 'Satterthwaite (1946)', 'Wilson (1927)']) expect(methods).toContain(source);
  });

  test('lists every record with its whole SHA-256', () => {
    expect(all(document, '#records td.sum').map((c) => c.textContent)).toEqual(Array.from({ length: 18 }, () => 'c3'.repeat(32)));
  });

  test('is the same text for the same input', () => {
    expect(renderReport(makeResults(), extras())).toBe(page);
  });

  test('bears the banner on twin data only', () => {
    expect(all(document, '.banner')[0].textContent).toContain('SIMULATED');
    const real = renderReport(makeResults({ simulated: false }), extras());
    expect(all(parsed(real), '.banner')).toHaveLength(0);
    expect(text(parsed(real)).toLowerCase()).not.toContain('simulated');
    expect(real).not.toContain('"SIMULATED"');
  });

  test('lets no name become markup, style or script', () => {
    const hostile = `</script><script>alert(1)</script><img src=x onerror=alert(1)>"'&\u0007`;
    const results = makeResults({ campaign: hostile, factors: { [hostile]: [hostile, 'b'], timing_advance: ['0 deg', '8 deg'] } });
    const attacked = renderReport({ ...results, answer: [hostile], runs: results.runs.map((r) => ({ ...r, id: hostile, reason: hostile })) }, extras({ writer: hostile, traces: [trace({ run: hostile, why: hostile, setting: hostile, label: hostile })], facts: [{ title: hostile, rows: [{ name: hostile, value: hostile }] }] }));
    const seen = parsed(attacked);
    expect(all(seen, 'img')).toHaveLength(0);
    expect(all(seen, 'script').filter((s) => s.textContent.trim() === 'alert(1)')).toHaveLength(0);
    expect(attacked).not.toMatch(/<img|<script>alert/);
    expect(all(seen, 'h1')[0].textContent).toBe(hostile.replace('\u0007', '\ufffd'));
  });

  test('says no verdict, with the reason, where no repeat is usable', () => {
    const empty = parsed(renderReport(makeResults({ usable: false }), NO_EXTRAS));
    expect(all(empty, '.answer')[0].textContent).toContain('there is no verdict');
    expect(all(empty, '#verdicts')[0].textContent).toContain('No verdict');
    expect(all(empty, '#runs')[0].textContent).toContain('tripped: CURRENT_PEAK');
    expect(all(empty, '#setup')[0].textContent).toContain('No setting is recommended');
    expect(all(empty, 'svg[role=img]')).toHaveLength(0);
  });

  test('shows one repeat as a value without an interval, and why', () => {
    const single = parsed(renderReport(makeResults({ repeats: 1 }), NO_EXTRAS));
    expect(all(single, '#metrics')[0].textContent).toContain('one repeat has no spread');
    expect(all(single, '#verdicts td').some((c) => c.textContent.includes('no verdict'))).toBe(true);
  });

  test('keeps figures numbered from 1 without a gap', () => {
    const numbers = all(document, 'figcaption b').map((b) => b.textContent);
    expect(numbers).toEqual(numbers.map((_, i) => `Figure ${i + 1}.`));
  });

  test('stays small and quick: a demo-sized campaign within 5 MB, drawn within 3 s of processor time', () => {
    const big = makeResults({ factors: { switching_frequency: ['22 kHz', '44 kHz', '88 kHz'], timing_advance: ['0 deg', '8 deg', '16 deg', '24 deg'] }, repeats: 5, runs: 240 });
    const before = process.cpuUsage();
    const size = renderReport(big, extras()).length;
    const { user, system } = process.cpuUsage(before);
    expect(size).toBeLessThan(5e6);
    expect((user + system) / 1e6).toBeLessThan(3);
  });
});
