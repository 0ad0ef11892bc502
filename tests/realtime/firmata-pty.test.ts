// Goal: the whole way in real time: main process, guard process, serial port, stock firmware, sensors, and back.
// Method: the emulated board in a process of its own on a pseudo-terminal; a bench opened on it as `run` opens it.
import { once } from 'node:events';
import { NEVER } from 'rxjs';
import { afterAll, afterEach, describe, expect, test } from 'vitest';
import { GuardWorld } from '../../src/app/guard-world';
import { prepareCampaign } from '../../src/app/prepare';
import { attachmentsOf, runHeader } from '../../src/app/record-header';
import { runOnce } from '../../src/app/run-once';
import { SILENT } from '../app/kit';
import { boardImage } from '../emulation/image';
import { cleanUp, firmataFolder } from '../emulation/world';
import { cable, child, endAll, HAS_SOCAT } from './guard-kit';

const image = boardImage();

afterEach(endAll);
afterAll(cleanUp);

describe.runIf(HAS_SOCAT && 'flash' in image)('an emulated board on a pseudo-terminal', () => {
  test('is greeted through the guard process, its sensors are read, and a short staircase plays', async () => {
    const line = await cable();
    // On a busy computer the emulated processor falls behind real time by tens of milliseconds: its samples may be older here.
    const folder = firmataFolder({ rig: [["usb: { vendor: '2341', product: '0043' }   # or port: /dev/ttyACM0", `port: ${line.host}`], ['boot_wait: 3 s', 'boot_wait: 1200 ms'], ['sensor_stale: 5', 'sensor_stale: 20'], ['sensor_frozen: 600 ms', 'sensor_frozen: 1 s']] });
    await once(child('child-firmata.ts', [line.board, folder]), 'message');
    const ready = prepareCampaign('staircase', { bench: folder, set: ['levels=2', 'low=20 %', 'high=40 %', 'dwell=500 ms', 'discard=200 ms'] });
    const { rig, article, channels } = ready;
    const notes: string[] = [];
    const world = new GuardWorld({ rig, article, channels, note: (text) => notes.push(text) });
    try {
      await world.connect();
      expect(notes.join('\n')).toMatch(/StandardFirmata/);
      await world.playUntil(() => world.readings().motor_degC !== null, 3);
      const { voltage_V, current_A, motor_degC } = world.readings();
      expect(Math.abs((voltage_V ?? 0) - 7.6)).toBeLessThan(0.1);
      expect(Math.abs(current_A ?? NaN)).toBeLessThan(0.5);
      expect(Math.abs((motor_degC ?? 0) - 26)).toBeLessThan(3);
      const [protocol] = ready.protocols.values();
      const result = await runOnce({
        world, protocol, reporter: SILENT, requests: NEVER, path: `${folder}/run.mcap`, zero_s: 0, attachments: attachmentsOf(ready),
        header: runHeader({ ready, protocol, run: ready.plan.runs[0], supply_V: rig.supply.voltage_V, propeller: true, seed: null }),
      });
      expect(result.outcome).toMatchObject({ outcome: 'done', stop_confirmed: true, trip: null });
    } finally {
      await world.closed();
    }
  });
});
