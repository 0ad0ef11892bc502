/** What the study plays: two simulated drives on three rigs, one base setting and three beside it, short forms of every protocol. */
import type { Setting } from '../src/campaign';
import { Rng } from '../src/twin/physics';

export const ARTICLES = ['scout', 'tiny'] as const;
export type ArticleName = (typeof ARTICLES)[number];
/** Rigs by how noisy their sensors are: noise × 0.3, 1 and 5; 0.1, 1 and 10 % of the telemetry frames lost. */
export const RIGS = ['quiet', 'default', 'hostile'] as const;
export type RigName = (typeof RIGS)[number];
export type Cell = { readonly article: ArticleName; readonly rig: RigName };

/**
 * Standard uncertainty of the clock that telemetry of speed is timed by: an oscillator on an ESC. The benches' own files say less; drawn
 * as wide as it is here, it puts every level of speed anywhere among the steps of its telemetry, as on benches that are not all alike.
 */
export const ESC_CLOCK = '0.4 %';

/** Word of the rig file for each rig. */
export const NOISE_OF: Readonly<Record<RigName, string>> = { quiet: 'quiet', default: 'usual', hostile: 'harsh' };

export const REPEATS = 4;
/** A soak takes a minute of bench time, so it has three repeats; three will do for what is only compared. */
const FEWER = 3;

/**
 * Settings: `base`; `same`, which differs in nothing that acts (headroom 190 instead of 200 %: from 100 % on it limits nothing);
 * `switching`, at twice the switching frequency; `timing`, at half the advance.
 */
export const SETTINGS = ['base', 'same', 'switching', 'timing'] as const;
export type SettingName = (typeof SETTINGS)[number];

type Levels = { readonly switching_frequency: number; readonly timing_advance: number; readonly spool_up_headroom: number };
const BASE: Readonly<Record<ArticleName, Levels>> = {
  scout: { switching_frequency: 44_000, timing_advance: 16, spool_up_headroom: 2 },
  tiny: { switching_frequency: 48_000, timing_advance: 15, spool_up_headroom: 2 },
};

/** ESC settings in force at a setting. */
export function levelsOf(article: ArticleName, setting: SettingName): Levels {
  const base = BASE[article];
  switch (setting) {
    case 'base': return base;
    case 'same': return { ...base, spool_up_headroom: 1.9 };
    case 'switching': return { ...base, switching_frequency: 2 * base.switching_frequency };
    case 'timing': return { ...base, timing_advance: base.timing_advance / 2 };
  }
}

/** A setting as a campaign's plan has it. */
export const planned = (setting: SettingName): Setting => ({ id: setting, levels: { setting: { kind: 'word', text: setting } } }) as unknown as Setting;

/** Power held in the soak, W. */
export const SOAK_W: Readonly<Record<ArticleName, number>> = { scout: 12, tiny: 3 };

/** The campaign file: short forms that still give every metric. Everything not written here is the protocol's default. */
export function campaignText(article: ArticleName): string {
  const tiny = article === 'tiny';
  return `spoolbench: 1
campaign: coverage
rig: rig.yaml
article: article.yaml
protocols:
  - kv: { supply: ${tiny ? '2 V' : '3 V'}, rise: 1 s }
  - thrust-curve${tiny ? '' : ': { ramp: 10 s }'}
  - response: { dwell: ${tiny ? '200 ms' : '300 ms'} }
  - efficiency-hold: { current: ${tiny ? '1 A' : '1.4 A'} }
  - spin-up: { starts: 8, rest: ${tiny ? '1 s' : '2 s'}, run: 50 ms, fall: 50 ms, within: 150 ms }
  - soak: { power: ${SOAK_W[article]} W, hold: 60 s, cool: 1 s }
  - quick-top
repeats: 4
between_runs: { rest: 1 s, zero: 700 ms }
`;
}

/**
 * Temperature of the motor at which runs begin, °C: mean, and standard deviation over the runs. The simulated motor is put there
 * instead of being left to cool, and the battery beside the supply is full, as after a long rest: resting would take four fifths of
 * the bench time.
 */
export const BEGIN_degC: Readonly<Record<ArticleName, number>> = { scout: 34, tiny: 26.5 };
export const BEGIN_SPREAD_K = 1;
export const REST_S = 0.2;

export type PlayedAt = { readonly label: string; readonly setting: SettingName; readonly repeat: number };

/**
 * Full throttle at once, so that the winding is equally warm there whatever the switching frequency: the speed is then the same.
 * (After a slow sweep the one-cell drive is 0.2 % faster at twice the frequency, as it has lost less on the way.)
 */
export const QUICK_TOP = 'quick-top';

const AT: Readonly<Record<SettingName, readonly string[]>> = {
  base: ['kv', 'thrust-curve', 'response', 'efficiency-hold', 'spin-up', 'soak', QUICK_TOP],
  same: ['thrust-curve', 'response'],
  switching: ['thrust-curve', 'response', QUICK_TOP],
  timing: ['response'],
};

/**
 * Every run in its order: blocks of one repeat of everything, each shuffled, then the soaks.
 */
export function schedule(seed: number): PlayedAt[] {
  const rng = new Rng(seed, ORDER_STREAM);
  const pairs = SETTINGS.flatMap((setting) => AT[setting].map((label) => ({ setting, label })));
  const fewer = ({ setting, label }: (typeof pairs)[number]): boolean => label === 'response' && (setting === 'same' || setting === 'timing');
  const block = (repeat: number): PlayedAt[] => shuffled(pairs.filter((p) => p.label !== 'soak' && !(repeat > FEWER && fewer(p))).map((p) => ({ ...p, repeat })), rng);
  const soaks = Array.from({ length: FEWER }, (_, r): PlayedAt => ({ label: 'soak', setting: 'base', repeat: r + 1 }));
  return [...Array.from({ length: REPEATS }, (_, r) => block(r + 1)).flat(), ...soaks];
}

/** A stream of the seed that the simulated rig does not use. */
const ORDER_STREAM = 900;

function shuffled<T>(items: readonly T[], rng: Rng): T[] {
  const out = [...items];
  for (let i = out.length - 1; i > 0; i--) {
    const j = Math.floor(rng.uniform() * (i + 1));
    [out[i], out[j]] = [out[j], out[i]];
  }
  return out;
}
