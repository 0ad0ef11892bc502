// Findings as they are made: a verdict, the numbers, and what to do.
import type { Finding } from '../../model/rig-check';

type Values = Finding['values'];

const make = (verdict: Finding['verdict']) => (id: string, title: string, found: string, advice = '', values: Values = {}): Finding =>
  ({ id, title, verdict, found, advice, values: Object.fromEntries(Object.entries(values).map(([k, v]) => [k, v !== null && Number.isFinite(v) ? v : null])) });

export const pass = make('pass');
export const warn = make('warn');
export const fail = make('fail');
export const notChecked = make('not-checked');
