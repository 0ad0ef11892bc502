// Colours, dashes and markers of the charts.
//
// Reasoning: readers who see colours differently and readers of a grey print must tell lines apart. So a line is marked
// four ways: by lightness (neighbours differ in CIE L*), by hue (away from the red-green axis: dark blue, rust, teal,
// ochre, violet), by dash and by marker. Verdicts carry a sign and a word; colour only repeats them. tests/report/palette.test.ts
// computes the distances as three kinds of colour-blind readers see them.

/** How one series is drawn. */
export type SeriesStyle = { readonly colour: string; readonly dash: string; readonly marker: Marker };
export type Marker = 'circle' | 'square' | 'triangle' | 'diamond' | 'cross' | 'star';

/** As many lines as one panel may hold. */
export const SERIES: readonly SeriesStyle[] = [
  { colour: '#14285a', dash: '', marker: 'circle' },
  { colour: '#a8430f', dash: '7 3', marker: 'square' },
  { colour: '#2a9187', dash: '2 2.5', marker: 'triangle' },
  { colour: '#d7a021', dash: '9 3 2 3', marker: 'diamond' },
  { colour: '#8c5ad2', dash: '4 2', marker: 'cross' },
];

export const INK = '#1d2226';
export const INK_SOFT = '#4c555c';
export const RULE = '#c9cdc8';
/** The band of ±margin around the baseline, behind everything. */
export const MARGIN_BAND = '#e9e4d4';
export const CHOSEN = '#14285a';
export const BASELINE = '#a8430f';
/** The word on every chart of twin data. */
export const SIMULATED_INK = '#8a2a0c';

/** Sign and colour of each verdict. The sign alone says it. */
export const VERDICT_SIGN = {
  better: { sign: '▲', word: 'better', css: 'v-better' },
  worse: { sign: '▼', word: 'worse', css: 'v-worse' },
  same: { sign: '=', word: 'no difference that matters', css: 'v-same' },
  different: { sign: '≠', word: 'different', css: 'v-different' },
  open: { sign: '?', word: 'not settled', css: 'v-open' },
  none: { sign: '·', word: 'no verdict', css: 'v-none' },
} as const;
