// Goal: the stock firmware, spoken to as a real board would be, keeps the promises that a motor depends on.
// Method: StandardFirmata in an emulated ATmega328P with emulated parts and speed controller, in lock-step virtual time.
import { afterAll, describe, expect, test, vi } from 'vitest';
import { prepareCampaign } from '../../src/app/prepare';
import { openFirmataBoard } from '../../src/host/firmata/firmata-board';
import { boardImage } from './image';
import { cleanUp, EmulatedBench, EVERY_20_MS, firmataFolder, type BenchOptions } from './world';

const image = boardImage();
const flash = 'flash' in image ? image.flash : null;
/** Stops in the test of their time, spread over one pulse frame. */
const STOPS = 16;
const OWN = { files: { 'protocols/hold-still.yaml': 'spoolbench: 1\nprotocol: hold-still\nneeds: { propeller: any, channels: [current] }\nsegments:\n  - level: { throttle: 30 %, for: 2 s }\n' } };
const QUICK: BenchOptions = { rig: [['boot_wait: 3 s', 'boot_wait: 1.2 s']], ...OWN };

/** Motor temperature by a Pt100 on the bus, ESC temperature by one behind an amplifier of 20 on input 3. */
const PT100: BenchOptions['rig'] = [
  ['source: { kind: thermistor, input: 0, resistance_25: 10 kohm, beta: 3950 K, series: 10 kohm }', 'source: { kind: converter, part: ads1115, address: 74, input: 0, against: 1, amplifier: 8, element: { kind: pt100, feed: 1 mA } }'],
  ['source: { kind: thermistor, input: 1, resistance_25: 10 kohm, beta: 3950 K, series: 10 kohm }', 'source: { kind: analog, input: 3, element: { kind: pt100, feed: 1 mA, boost: 20 } }'],
];

// Virtual time: a busy machine takes longer, and nothing else changes.
vi.setConfig({ testTimeout: 600_000 });
afterAll(cleanUp);

function benchWith(options: BenchOptions = QUICK): EmulatedBench {
  const folder = firmataFolder({ ...options, rig: [...(options.rig ?? [])] });
  return new EmulatedBench(flash ?? new Uint16Array(0), prepareCampaign(`${folder}/protocols/hold-still.yaml`, { bench: folder }));
}

async function opened(options: BenchOptions = QUICK): Promise<EmulatedBench> {
  const bench = benchWith(options);
  await bench.open();
  return bench;
}

const throttlePulses = (bench: EmulatedBench) => bench.lock.pulses.filter((p) => p.pin === 9);

if (flash === null) {
  test('LEFT OUT: everything on the emulated board', () => {
    console.warn(`Nothing was tried on the emulated board: ${'missing' in image ? image.missing : ''}`);
    expect('missing' in image).toBe(true);
  });
}

describe.runIf(flash !== null)('a board opened', () => {
  test('the first pulse of all is the pulse of stop, then one every 20 ms within 8 µs of what was asked', async () => {
    const bench = await opened();
    const pulses = throttlePulses(bench);
    expect(pulses.length).toBeGreaterThan(50);
    for (const pulse of pulses) expect(Math.abs(pulse.width_us - 1000)).toBeLessThan(8);
    const gaps = pulses.slice(1).map((p, i) => p.start_us - pulses[i].start_us);
    expect(Math.min(...gaps)).toBeGreaterThan(19_900);
    expect(Math.max(...gaps)).toBeLessThan(20_100);
    bench.driveAt(0.3, 2);
    bench.playAlive(0.5);
    bench.lock.clear();
    bench.playAlive(0.3);
    for (const pulse of throttlePulses(bench)) expect(Math.abs(pulse.width_us - 1300)).toBeLessThan(8);
    expect(bench.drive.throttle).toBeCloseTo(0.3, 2);
    expect(bench.drive.sim.truth.speed_rpm).toBeGreaterThan(5000);
  });

  test('every channel delivers at the rate of its period, and reads what is true', async () => {
    const bench = await opened();
    const before = bench.drive.monitor.conversions;
    bench.playFor(2);
    expect((bench.drive.monitor.conversions - before) / 2).toBeGreaterThan(97);
    expect((bench.drive.monitor.conversions - before) / 2).toBeLessThan(103);
    const { sim } = bench.drive;
    const [current, voltage, , thrust, motor, esc] = bench.ready.channels.map((c) => bench.station.latest(c.id));
    expect(current).toBeCloseTo(sim.truth.current_A, 1);
    expect(Math.abs(voltage - sim.truth.voltage_V)).toBeLessThan(0.01);
    expect(Math.abs(thrust - sim.truth.thrust_N)).toBeLessThan(0.01);
    expect(Math.abs(motor - sim.truth.case_degC)).toBeLessThan(0.5);
    expect(Math.abs(esc - sim.truth.esc_degC)).toBeLessThan(0.5);
  });

  test('a Pt100 on an ADS1115 and one behind an amplifier on an analogue input read 100 °C at the 138.51 Ω of IEC 60751; a broken wire keeps the motor from starting', async () => {
    const bench = await opened({ ...QUICK, rig: [...(QUICK.rig ?? []), ...PT100, ...EVERY_20_MS] });
    const both = (): number[] => bench.ready.channels.filter((c) => c.kind.endsWith('_temperature')).map((c) => bench.station.latest(c.id));
    const { esc_degC } = bench.drive.sim.truth;
    const [bus, input] = both();
    expect(Math.abs(bus - esc_degC)).toBeLessThan(0.2);
    expect(Math.abs(input - esc_degC)).toBeLessThan(0.7);
    // As the standard's table prints them.
    for (const [degC, ohm] of [[-100, 60.26], [100, 138.51]] as const) {
      Object.assign(bench.drive.pt100_ohm, { bus: ohm, input: ohm });
      bench.playFor(0.5);
      expect(Math.abs(both()[0] - degC)).toBeLessThan(0.2);
      expect(Math.abs(both()[1] - degC)).toBeLessThan(0.7);
    }
    for (const [broken, word] of [['bus', 'motor'], ['input', 'ESC']] as const) {
      Object.assign(bench.drive.pt100_ohm, { bus: null, input: null, [broken]: Infinity });
      bench.playFor(1.2);
      expect(() => bench.driveAt(0.1, 1)).toThrow(new RegExp(`not armed: .*last 10 ${word} temperature samples are impossible\\. Check the sensor and its cable`));
    }
  });

  test('a stop of the station is an idle pulse on the pin within 25 ms, whenever it comes', async () => {
    const bench = await opened();
    const took_ms: number[] = [];
    for (let i = 0; i < STOPS; i++) {
      bench.driveAt(0.1, 5);
      bench.playAlive(0.1 + (i * 20) / STOPS / 1000);
      bench.lock.clear();
      const asked_us = bench.lock.uno.now_us;
      bench.station.stopNow();
      bench.playAlive(0.04);
      const idle = throttlePulses(bench).find((p) => p.width_us < 1010 && p.start_us > asked_us);
      if (idle === undefined) throw new Error('no idle pulse in 40 ms');
      took_ms.push((idle.start_us + idle.width_us - asked_us) / 1000);
      bench.playAlive(3, () => bench.events.at(-1)?.type === 'stopped');
    }
    took_ms.sort((a, b) => a - b);
    console.info(`stop to the end of the idle pulse: median ${took_ms[STOPS / 2].toFixed(1)} ms, worst ${took_ms[STOPS - 1].toFixed(1)} ms`);
    expect(took_ms[STOPS - 1]).toBeLessThanOrEqual(25);
    expect(took_ms[0]).toBeGreaterThan(1);
  });
});

describe.runIf(flash !== null)('what goes wrong', () => {
  async function driving(options: BenchOptions = QUICK): Promise<EmulatedBench> {
    const bench = await opened(options);
    bench.driveAt(0.3, 20);
    bench.playAlive(0.6);
    expect(bench.drive.sim.truth.speed_rpm).toBeGreaterThan(5000);
    bench.events.length = 0;
    return bench;
  }
  const firstTrip = (bench: EmulatedBench) => bench.events.flatMap((e) => (e.type === 'tripped' ? [e.trip] : []))[0];

  test('the stop input trips, and so does its broken wire', async () => {
    const bench = await driving();
    bench.lock.uno.setPin(2, true);
    bench.playAlive(0.06);
    expect(firstTrip(bench)?.code).toBe('STOP_INPUT');
    bench.playAlive(0.04);
    expect(throttlePulses(bench).at(-1)?.width_us).toBeLessThan(1010);
  });

  test('a part that falls off the bus while the motor turns trips; its left-over bytes are never taken for a reading', async () => {
    const bench = await driving();
    bench.lock.uno.i2c.parts.delete(0x40);
    bench.playAlive(0.4);
    expect(['SENSOR_IMPOSSIBLE', 'SENSOR_STALE']).toContain(firstTrip(bench)?.code);
    bench.playAlive(0.1);
    expect(throttlePulses(bench).at(-1)?.width_us).toBeLessThan(1010);
  });

  test('a load cell at the end of its converter is no measurement: it trips, and keeps the motor from starting again', async () => {
    const bench = await driving();
    bench.drive.overloaded = true;
    bench.playAlive(0.06);
    expect(firstTrip(bench)).toMatchObject({ code: 'SENSOR_IMPOSSIBLE', channel: 'thrust_N', detail: expect.stringMatching(/\d of the last 10 thrust samples are impossible\. Check the sensor and its cable/) as string });
    bench.playAlive(0.04);
    expect(throttlePulses(bench).at(-1)?.width_us).toBeLessThan(1010);
    bench.playAlive(4);
    expect(bench.station.permit().reasons.join(' ')).toMatch(/thrust samples are impossible/);
  });

  test('a stuck I2C bus trips, but the pulse stays: only a cut-off stops this motor, and the run says that it is not known to stand still', async () => {
    const bench = await driving();
    bench.lock.uno.i2c.stuck = true;
    bench.playAlive(0.15);
    expect(firstTrip(bench)?.code).toBe('SENSOR_STALE');
    bench.playAlive(9, () => bench.events.some((e) => e.type === 'stopped'));
    expect(bench.lost).toMatch(/silent for 2\d\d ms .*cut the power if the motor turns/);
    expect(Math.abs((throttlePulses(bench).at(-1)?.width_us ?? 0) - 1300)).toBeLessThan(8);
    expect(bench.events.some((e) => e.type === 'stopped' && e.confirmed)).toBe(false);
  });

  test('a program that stops leaves the motor turning: the firmware has no watchdog', async () => {
    const bench = await driving();
    bench.lock.programStopped = true;
    bench.lock.run(1000);
    bench.lock.clear();
    bench.lock.run(100);
    expect(throttlePulses(bench).length).toBeGreaterThanOrEqual(4);
    for (const pulse of throttlePulses(bench)) expect(Math.abs(pulse.width_us - 1300)).toBeLessThan(8);
  });

  test('a program that was stopped for 150 ms and goes on trips at once: the missed time counts', async () => {
    const bench = await driving();
    bench.lock.programStopped = true;
    bench.lock.run(150);
    bench.lock.programStopped = false;
    bench.playAlive(0.05);
    expect(['SENSOR_STALE', 'HOST_SILENT']).toContain(firstTrip(bench)?.code);
  });

  test('a main process that falls silent stops the motor', async () => {
    const bench = await driving();
    bench.playFor(0.8);
    expect(firstTrip(bench)).toBeDefined();
    expect(throttlePulses(bench).at(-1)?.width_us).toBeLessThan(1010);
  });

  test('an unplugged board is lost at once, with what to do', async () => {
    const bench = await driving();
    bench.lock.unplug();
    bench.playAlive(0.01);
    expect(bench.lost).toMatch(/gone \(EIO\).*cut the power/);
  });

  test('a line that goes dead unnoticed is a trip within 60 ms and a loss within 260 ms', async () => {
    const bench = await driving();
    bench.lock.deafen();
    bench.playAlive(0.07);
    expect(firstTrip(bench)?.code).toBe('SENSOR_STALE');
    bench.playAlive(0.2);
    expect(bench.lost).toMatch(/silent for/);
  });

  test('garbage between the reports is survived', async () => {
    const bench = await driving();
    for (let i = 0; i < 20; i++) {
      bench.lock.garble([0x00, 0x13, 0x7f, 0xf0, 0x55, 0x99, 0xf7, 0x05]);
      bench.playAlive(0.05);
    }
    expect(firstTrip(bench)).toBeUndefined();
    expect(bench.drive.sim.truth.speed_rpm).toBeGreaterThan(5000);
  });
});

describe.runIf(flash !== null)('a board that is not as the rig file says', () => {
  const refused = async (change: (bench: EmulatedBench) => void, options: BenchOptions = QUICK): Promise<string> => {
    const bench = benchWith(options);
    change(bench);
    const opening = openFirmataBoard(bench.ready.rig, { openPort: bench.lock.openPort, time: bench.lock.time })({ onBytes: () => undefined, onLost: () => undefined });
    const message = await bench.lock.settle(opening).then(() => 'opened', (error: Error) => error.message);
    bench.lock.run(100);
    for (const pulse of throttlePulses(bench)) expect(pulse.width_us).toBeLessThan(1010);
    return message;
  };

  test('an absent part is named, with address and what to check', async () => {
    expect(await refused((b) => b.lock.uno.i2c.parts.delete(0x2a))).toMatch(/NAU7802 at address 42 \(0x2a\) for thrust does not answer\. Check its supply/);
  });

  test('another part at the address is told apart', async () => {
    expect(await refused((b) => { b.drive.monitor.maker = 0x1234; })).toMatch(/INA226 at address 64 .* is another part: its maker is 0x1234, not 0x5449/);
  });

  test('a pin without servo pulses is refused, with those that have them', async () => {
    expect(await refused(() => undefined, { ...OWN, rig: [['throttle_pin: 9', 'throttle_pin: 1']] })).toMatch(/pin 1 gives no servo pulses\. link\.throttle_pin: one of 2, 3/);
  });

  test('bytes that are no Firmata are no greeting', async () => {
    expect(await refused((b) => {
      b.lock.uno.onByte = () => undefined;
      b.lock.garble([1, 2, 3, 4]);
    })).toMatch(/does not speak Firmata: 4 bytes came in 8 s/);
  });
});
