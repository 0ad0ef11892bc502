// What a station is set up with, and what follows from it.
import type { Patience } from '../link/command-channel';
import type { Guards, LimitRow } from '../link/commands';
import type { SessionPlan } from '../link/session';
import { boardGuards, boardLimits, type BoardGuards, type BoardLimit } from '../model/board-limits';
import type { ChannelFact } from '../model/channel';
import type { BenchEvent } from '../model/events';
import type { Article } from '../model/files/article';
import type { Rig, RigLimits } from '../model/files/rig';
import { isSimulated } from '../model/simulated';
import type { SampleBlock } from '../model/sample';
import type { JudgeSetup } from '../safety/judge';
import { CODE_ON_WIRE, KIND_ON_WIRE, RULE_ON_WIRE } from './wire-tables';

export interface StationConfig {
  readonly rig: Rig;
  readonly article: Article | null;
  /** Channels with their calibrated conversions, in the order of the rig's channels. */
  readonly facts: readonly ChannelFact[];
  /** Limits of this run when they are not the rig's own. */
  readonly limits?: RigLimits;
  /** Limits for the board alone, when it is to be more patient or stricter than the judge: proof that each layer stops by itself. */
  readonly boardLimits?: RigLimits;
  /** Voltage that the supply is set to, V; null: unknown. Default: that of the rig. */
  readonly supply_V?: number | null;
  /** Is a propeller mounted? Default: what the article says. */
  readonly propeller?: boolean;
  /** Serial number of the board, or null (default) for any. */
  readonly uid?: number | null;
  readonly patience?: Patience;
  /** Silence of an armed board after which the link counts as lost, s. Default: the rig's host_silence, as the board's deadman. */
  readonly linkSilence_s?: number;
  /** Sends bytes to the board, at once. */
  readonly send: (bytes: Uint8Array) => void;
  /** An abort has just been sent: whoever carries it may be left the processor for a moment. */
  readonly onAbort?: (() => void) | undefined;
  /** Receives judged rows, in order. */
  readonly onBlock: (block: SampleBlock) => void;
  readonly onEvent: (event: BenchEvent) => void;
}

/** A command without an answer for 50 ms is sent again, four times at most. */
export const USUAL_PATIENCE: Patience = { timeout_us: 50_000, tries: 5 };

/** Rows while nothing runs, and the least rate at which silence is told from rest. */
const RESTING_ROW_US = 100_000;

export interface Plan {
  readonly rig: Rig;
  readonly session: SessionPlan;
  readonly judge: JudgeSetup;
  readonly limits: readonly BoardLimit[];
  readonly guards: BoardGuards;
  /** A row every so many ticks: while a run is on, and while nothing runs. */
  readonly fast: number;
  readonly slow: number;
  readonly supply_V: number;
}

/** Everything that is fixed for the life of a station. Throws a RangeError when the limits do not fit a board (`checkRig` finds that first). */
export function planOf(config: StationConfig): Plan {
  const rig: Rig = config.limits === undefined ? config.rig : { ...config.rig, limits: config.limits };
  const onBoard: Rig = config.boardLimits === undefined ? rig : { ...rig, limits: config.boardLimits };
  const limits = boardLimits(onBoard, config.facts);
  const guards = boardGuards(onBoard, config.facts);
  const fast = Math.max(1, Math.round(1e6 / rig.row_rate_Hz / rig.tick_us));
  const slow = Math.max(fast, Math.round(RESTING_ROW_US / rig.tick_us));
  const supply_V = config.supply_V === undefined ? rig.supply.voltage_V : config.supply_V;
  return {
    rig, limits, guards, fast, slow,
    supply_V: supply_V ?? rig.supply.voltage_V,
    session: {
      uid: config.uid ?? null, simulated: rig.link.kind === 'twin' ? null : isSimulated(rig), tick_us: rig.tick_us, divider: slow, limits: limits.map(limitRow), guards: guardRow(guards),
      channels: rig.channels.map((c, id) => ({ id, kind: KIND_ON_WIRE[c.kind], scale: c.gain, zero: c.zero, period_us: c.period_us, name: c.kind })),
    },
    judge: {
      facts: config.facts, limits: rig.limits, tick_us: rig.tick_us, idle: rig.throttle.idle, supply_V,
      // A battery beside the supply carries what the supply does not: its limit says nothing then.
      supplyLimit_A: rig.sink.kind === 'battery' ? null : rig.supply.current_limit_A,
      propeller_m: config.article !== null && (config.propeller ?? config.article.propeller.mounted) ? config.article.propeller.diameter_m : null,
      spans: Object.fromEntries(rig.channels.flatMap((c) => (c.span === null ? [] : [[c.kind, c.span]]))),
    },
  };
}

function limitRow(l: BoardLimit): LimitRow {
  return { slot: l.slot, rule: RULE_ON_WIRE[l.rule], channel: l.channel, cause: CODE_ON_WIRE[l.cause], threshold: l.threshold, bad: l.bad, window: l.window, span: l.span_us };
}

function guardRow(g: BoardGuards): Guards {
  return { deadman: g.deadman_us, longestRun: g.longest_run_us, throttleCap: g.throttle_cap, currentZero: g.current_zero, voltageZero: g.voltage_zero, stillPeriod: g.still_period };
}
