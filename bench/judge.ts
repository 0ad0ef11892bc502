// Times the judge on eight channels at their usual freshness. Run: npx tsx bench/judge.ts
import { advance, startJudge } from '../src/safety/judge';
import { RowBuffer } from '../src/link/rows';
import { rowPayload } from '../tests/link/build';
import { FACTS, LIMITS, SETUP } from '../tests/safety/build';

const torque = { ...FACTS[3], id: 6, kind: 'torque', column: 'torque_Nm', period_us: 12_500 } as const;
const extra = { ...FACTS[1], id: 7, kind: 'voltage', column: 'supply_V', period_us: 1000 } as const;
const setup = { ...SETUP, facts: [...FACTS, torque, extra], limits: { ...LIMITS, longest_run_s: 1e9 } };
const N = 1000; // a second of rows; a station judges them while they are still in the cache
const rows = new RowBuffer(8, N);
const TYPICAL = [400, 6080, 417, 2000, 400, 400, 2000, 6080];
let noise = 1;
for (let i = 0; i < N; i++) {
  const fresh = 0b10000111 | (i % 25 === 0 || i % 25 === 12 ? 0b01001000 : 0) | (i % 100 === 0 ? 0b00110000 : 0);
  const counts = TYPICAL.filter((_, c) => (fresh & (1 << c)) !== 0).map((v) => v + ((noise = (Math.imul(noise, 1103515245) + 12345) >>> 0) >>> 28));
  const payload = rowPayload({ tick: i * 1000, throttle: 5000, state: 2, ordinal: 1, fresh, valid: 0xff, counts });
  rows.append(payload, payload.length, i * 1000);
}
const state = startJudge(setup);
let best = Infinity;
for (let round = 0; round < 4000; round++) {
  const began = performance.now();
  for (let i = 0; i < N; i++) if (advance(state, rows, i) !== null) throw new Error(state.latch.first?.detail);
  best = Math.min(best, ((performance.now() - began) * 1e6) / N);
  for (let i = 0; i < N; i++) rows.tick_us[i] += N * 1000;
}
console.log(`judge: ${best.toFixed(0)} ns a row of eight channels (best of 4000 rounds)`);
