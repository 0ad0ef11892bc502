// Goal: what was measured on a simulated or emulated board says so, whatever port it came through.
// Method: benches with each kind of link prepared as `run` prepares them; the header of their records, and the plan for people.
import { describe, expect, test } from 'vitest';
import { planFile } from '../../src/app/plan-file';
import { prepareCampaign } from '../../src/app/prepare';
import { runHeader } from '../../src/app/record-header';
import { isSimulated } from '../../src/model/simulated';
import { benchFolder } from './kit';

const TWIN = 'link: { kind: twin, twin: scout, seed: 1 }';
const MANUAL = ['supply: { kind: twin,', 'supply: { kind: manual,'] as const;

async function said(link: string | null): Promise<{ header: boolean; plan: boolean }> {
  const folder = benchFolder(link === null ? {} : { rig: [[TWIN, link], MANUAL] });
  const ready = prepareCampaign('staircase', { bench: folder });
  const [protocol] = ready.protocols.values();
  const header = runHeader({ ready, protocol, run: ready.plan.runs[0], supply_V: 7.6, propeller: true, seed: null });
  expect(isSimulated(ready.rig)).toBe(header.simulated);
  return { header: header.simulated, plan: (await planFile('staircase', { bench: folder })).simulated };
}

describe('a record says simulated', () => {
  test('on the simulated rig', async () => {
    expect(await said(null)).toEqual({ header: true, plan: true });
  });

  test('on a port whose rig file says that a simulated board answers', async () => {
    expect(await said('link: { kind: serial, simulated: true, port: /dev/none }')).toEqual({ header: true, plan: true });
  });

  test('and not on a port whose rig file says nothing, or says that it is real', async () => {
    expect(await said('link: { kind: serial, port: /dev/none }')).toEqual({ header: false, plan: false });
    expect(await said('link: { kind: serial, simulated: false, port: /dev/none }')).toEqual({ header: false, plan: false });
  });
});
