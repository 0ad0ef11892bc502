// What a report shows besides results.json: the bench as the records have it, and a few raw traces.

/** A table of facts. Values are text already. */
export type FactTable = { readonly title: string; readonly rows: readonly { readonly name: string; readonly value: string }[] };

/** A quantity of a trace: only fresh, possible samples. */
export type TraceSeries = { readonly name: string; readonly unit: string; readonly t_s: Float64Array; readonly value: Float64Array };

/** A run to look into. */
export type Trace = {
  readonly run: string;
  /** Why it is here, e.g. `chosen setting`. */
  readonly why: string;
  readonly setting: string;
  readonly label: string;
  readonly sha256: string;
  readonly series: readonly TraceSeries[];
  readonly segments: readonly { readonly t_s: number; readonly label: string }[];
};

/** The chart library for zooming, as text for the page. */
export type ZoomCode = { readonly script: string; readonly style: string };

export type ReportExtras = {
  /** Program that writes the report, e.g. `Spoolbench 0.1.0`. */
  readonly writer: string;
  readonly facts: readonly FactTable[];
  readonly traces: readonly Trace[];
  /** Null: the page shows still pictures of the traces only. */
  readonly zoom: ZoomCode | null;
  /** Compresses the text of a trace to base64 of a gzip stream; null leaves it as plain JSON. */
  readonly pack: ((text: string) => string) | null;
};

export const NO_EXTRAS: ReportExtras = { writer: 'Spoolbench', facts: [], traces: [], zoom: null, pack: null };
