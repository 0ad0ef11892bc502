// The judge as an rxjs operator: blocks in, each with its verdict out. Once a block, a plain loop inside.
import { defer, map, type OperatorFunction } from 'rxjs';
import type { SampleBlock } from '../model/sample';
import type { Trip } from '../model/trip';
import { advance, startJudge, type JudgeSetup, type JudgeState } from './judge';
import type { Desync } from './rules/rotation';

export interface JudgedBlock {
  readonly block: SampleBlock;
  /** Trips latched by the rows of this block, in order. */
  readonly trips: readonly Trip[];
  readonly desyncs: readonly Desync[];
}

/** Judges every row of every block, in order. Each subscription starts with a judge that has seen nothing. */
export function judged(setup: JudgeSetup): OperatorFunction<SampleBlock, JudgedBlock> {
  return (blocks) =>
    defer(() => {
      const state = startJudge(setup);
      return blocks.pipe(map((block) => judgeBlock(state, block)));
    });
}

function judgeBlock(state: JudgeState, block: SampleBlock): JudgedBlock {
  const trips: Trip[] = [];
  const desyncs: Desync[] = [];
  for (let i = 0; i < block.rows; i++) {
    const found = advance(state, block, i);
    if (found !== null) trips.push(...found);
    if (state.desync !== null) desyncs.push(state.desync);
  }
  return { block, trips, desyncs };
}
