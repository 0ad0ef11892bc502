/** What the analysis of a campaign is given: the plan as far as it matters, and the metrics of every usable run. */
import type { Constraint, Margin } from '../../model/files/campaign-choice';
import type { Craft } from '../../model/files/craft';
import type { RunMetrics } from '../metrics/run-metrics';

/** A setting: one combination of levels. */
export type SettingInput = {
  readonly id: string;
  /** In words, e.g. `44 kHz, 16 deg`. */
  readonly text: string;
  /** Factor → level as written. */
  readonly levels: Readonly<Record<string, string>>;
};

/** A factor with its levels in the order of the file; `order` ranks them from least to most (numbers by size). */
export type FactorInput = { readonly name: string; readonly levels: readonly string[]; readonly order: readonly number[]; readonly specimen: boolean };

/** A planned run with what became of it. */
export type RunInput = {
  readonly id: string;
  /** Place in the order, from 1: the time axis for drift. */
  readonly index: number;
  readonly label: string;
  readonly protocol: string;
  readonly setting: string;
  readonly repeat: number;
  readonly mounting: number;
  readonly block: number;
  readonly kind: 'cell' | 'baseline';
  readonly file: string | null;
  readonly sha256: string | null;
  /** Metrics when the run is used; else why not. */
  readonly metrics: RunMetrics | null;
  readonly status: 'used' | 'left-out' | 'missing';
  readonly reason: string | null;
};

/** Standard deviations between mountings from a repeatability study, relative, and its number of mountings. */
export type RemountInput = { readonly mounts: number; readonly thrust: number | null; readonly speed: number | null; readonly power: number | null };

/** What decides. */
export type ChoiceInput = {
  readonly objective: { readonly metric: string; readonly sense: 'least' | 'most' };
  readonly constraints: readonly Constraint[];
};

export type CampaignInput = {
  readonly campaign: string;
  readonly confidence: number;
  readonly factors: readonly FactorInput[];
  /** In the order of the plan. */
  readonly settings: readonly SettingInput[];
  /** Labels in the order of the campaign file. */
  readonly labels: readonly string[];
  readonly runs: readonly RunInput[];
  /** Records that belong to no planned run, each with the reason. */
  readonly foreign: readonly { readonly file: string; readonly reason: string }[];
  readonly baseline: string | null;
  readonly margins: Readonly<Record<string, Margin>>;
  readonly choice: ChoiceInput | null;
  readonly estimand: 'this-mounting' | 'over-mountings';
  readonly craft: Craft | null;
  readonly remount: RemountInput | null;
  readonly provenance: Readonly<Record<string, string | number | null>>;
};
