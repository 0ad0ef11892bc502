// Goal: rig check finds what is wrong with a rig, proves each stopping layer alone, and a rig that asks for a proof runs with one only.
// Method: the demo bench with one thing made wrong at a time, and worlds in which one layer does not work.
import fs from 'node:fs';
import path from 'node:path';
import { Subject, timer } from 'rxjs';
import { afterAll, describe, expect, test } from 'vitest';
import { levelReading } from '../../src/analysis/commissioning/spin';
import { checkRig, type CheckEnd } from '../../src/app/rig-check/check';
import { studyMountings } from '../../src/app/rig-check/mountings';
import { trialsFor, tryLayer } from '../../src/app/rig-check/proof';
import { restFindings } from '../../src/app/rig-check/findings-rest';
import { proofNote, requireProof } from '../../src/app/rig-check/proven';
import { CheckSession, readyCheck, type CheckBench } from '../../src/app/rig-check/session';
import { judgeProof, keepCheck, newestCheck, rigDigest } from '../../src/app/rig-check/store';
import { loadBench } from '../../src/app/bench-folder';
import { prepareCampaign } from '../../src/app/prepare';
import { runFile } from '../../src/app/run-file';
import { COAST_S } from '../../src/app/zeros';
import { TwinWorld } from '../../src/app/twin-world';
import { readRecord } from '../../src/record/file-reader';
import type { RigCheck } from '../../src/model/rig-check';
import { MapCache } from '../../src/twin/physics';
import { benchFolder, cleanUp, SILENT, type Edits } from './kit';

afterAll(cleanUp);
const MAPS = new MapCache();
const NOW_ms = Date.parse('2026-03-01T12:00:00Z');
const breathe = (): Promise<void> => Promise.resolve();

const twin: CheckBench['open'] = ({ rig, article, channels }, layers) =>
  new TwinWorld({ rig, article, channels, maps: MAPS, breathe, now_ms: () => 0, ...(layers === undefined ? {} : { layers }) });

function check(edits: Edits = {}, answers: (question: string) => 'yes' | 'no' | 'stop' = () => 'yes'): Promise<CheckEnd & { bench: string }> {
  const bench = benchFolder(edits);
  const person = { ask: (q: string) => Promise.resolve(answers(q)), tell: () => undefined };
  return checkRig({ bench, person, reporter: SILENT, open: twin, now_ms: () => NOW_ms }).then((end) => ({ ...end, bench }));
}

const verdicts = (c: RigCheck): Record<string, string> => Object.fromEntries(c.findings.map((f) => [f.id, f.verdict]));

describe('the whole check', () => {
  test('of a sound rig proves every layer, finds nothing wrong, and is kept as a file of its own', async () => {
    const { check: c, path: file, stopped } = await check({ rig: [['link: {', 'throttle: { idle: 4 % }\nlink: {']] });
    expect(stopped).toBe(false);
    expect([...c.findings, ...c.layers].filter((f) => f.verdict === 'fail')).toEqual([]);
    expect(c.layers.map((l) => l.layer)).toEqual(['station-limit', 'board-limit', 'deadman', 'stop-input']);
    expect(c.proven).toBe(true);
    expect(verdicts(c)).toMatchObject({ 'rest-current': 'pass', bump: 'pass', poles: 'pass', 'thrust-sign': 'pass', propeller: 'pass', stiffness: 'pass', resonance: 'warn' });
    // The simulated ESC turns the motor from the smallest throttle on: half of the declared idle turns too.
    expect(c.findings.find((f) => f.id === 'idle')).toMatchObject({ verdict: 'warn', advice: expect.stringMatching(/higher than it need be/) as string });
    // The deadman is 100 ms, a stop button needs one tick.
    const zero = Object.fromEntries(c.layers.map((l) => [l.layer, l.to_zero_s ?? NaN]));
    expect(zero.deadman).toBeGreaterThan(0.05);
    expect(zero.deadman).toBeLessThanOrEqual(0.101);
    expect(zero['stop-input']).toBeLessThanOrEqual(0.002);
    expect(JSON.parse(fs.readFileSync(file, 'utf8'))).toEqual(c);
    expect(c.at).toBe('2026-03-01T12:00:00.000Z');
  });

  test('a fast load cell on the stand is tapped: the finding is the natural frequency of the simulated stand, and the speed that meets it', async () => {
    // The scout's stand rings at 95 Hz with a damping of 3 % (src/twin/physics/articles.ts): the check knows neither.
    const { check: c } = await check({ rig: [['thrust: { period: 12.5 ms', 'thrust: { period: 1 ms'], ['natural_frequency: 95 Hz', 'natural_frequency: 93 Hz']] });
    const found = c.findings.find((f) => f.id === 'resonance');
    expect(found?.found).toMatch(/oscillations after a tap/);
    expect(Math.abs((found?.values.frequency_Hz ?? NaN) / 95 - 1)).toBeLessThan(0.01);
    expect(Math.abs((found?.values.critical_rpm ?? NaN) / 5700 - 1)).toBeLessThan(0.01);
    expect(Math.abs((found?.values.damping ?? NaN) - 0.03)).toBeLessThan(0.006);
    expect(found).toMatchObject({ verdict: 'warn', advice: expect.stringMatching(/hold no level between/) as string });
  });

  test('of a rig whose speed does not fit the declared KV says which pole pairs would, and leaves the rest out', async () => {
    const { check: c } = await check({ article: [['kv: 4540 rpm/V', 'kv: 3900 rpm/V']] });
    expect(c.findings.find((f) => f.id === 'poles')).toMatchObject({ verdict: 'fail', advice: expect.stringMatching(/7 pole pairs would fit, 6 are declared; or the declared KV is wrong/) as string });
    expect(c.findings.map((f) => f.id)).not.toContain('thrust-sign');
    expect(c.findings.at(-1)?.id).toBe('rest-of-check');
  });

  test('a rig that is not as declared at rest is not turned', async () => {
    let asked = 0;
    const { check: c } = await check({ rig: [['stop: { current: 400 mA', 'stop: { current: 20 mA']] }, () => { asked++; return 'yes'; });
    // Nobody can confirm standstill below what the current sensor shows at rest.
    expect(verdicts(c)).toEqual({ 'check-rest': 'fail', 'rest-of-check': 'not-checked' });
    expect(c.layers).toEqual([]);
    expect(c.proven).toBe(false);
    expect(asked).toBe(0);
  });

  test('a person who says no stops it; nothing is proven', async () => {
    const { check: c, stopped } = await check({}, () => 'no');
    expect(stopped).toBe(true);
    expect(c.layers).toEqual([]);
    expect(c.proven).toBe(false);
    expect(c.findings.at(-1)).toMatchObject({ id: 'rest-of-check', found: 'left out: the check was stopped' });
  });
});

test('readings at rest that cannot be true are failures, each on the far side of its boundary only', async () => {
  const bench = benchFolder();
  const records = path.join(bench, 'records', 'rest');
  fs.mkdirSync(records, { recursive: true });
  const { data, ready: { rig } } = await new CheckSession({ bench, records, reporter: SILENT, requests: new Subject(), open: twin }).play('check-rest', { set: ['time=2 s'] });
  if (data === null) throw new Error('no data');
  const of = (id: string, r: typeof rig, supply_V = 7.6) => restFindings(data, r, supply_V).find((f) => f.id === id);
  const amps = of('plausible-current', rig)?.values.mean ?? NaN;
  const stop = (current_A: number): typeof rig => ({ ...rig, limits: { ...rig.limits, stop: { ...rig.limits.stop, current_A } } });
  expect(of('plausible-current', stop(amps * 1.001))?.verdict).toBe('pass');
  expect(of('plausible-current', stop(amps * 0.999))?.verdict).toBe('fail');
  const volts = of('rest-voltage', rig)?.values.mean ?? NaN;
  expect(of('plausible-voltage', rig, volts / 1.0499)?.verdict).toBe('pass');
  expect(of('plausible-voltage', rig, volts / 1.0501)?.verdict).toBe('fail');
  const slower = { ...data, channels: data.channels.map((c) => (c.kind === 'thrust' ? { ...c, period_s: c.period_s * 1.03 } : c)) };
  expect(of('rest-thrust', rig)?.verdict).toBe('pass');
  expect(restFindings(slower, rig, 7.6).find((f) => f.id === 'rest-thrust')).toMatchObject({ verdict: 'fail', advice: expect.stringMatching(/period: 12\.5 ms/) as string });
});

describe('a layer that does not work is found', () => {
  const bench = benchFolder();
  const ready = readyCheck(bench, 'check-stop');
  const set = ['bump=10 %'];
  const told: string[] = [];
  let sessions = 0;
  const session = (open: CheckBench['open']): CheckSession => {
    const records = path.join(bench, 'records', `t${++sessions}`);
    fs.mkdirSync(records, { recursive: true });
    return new CheckSession({ bench, records, reporter: SILENT, requests: new Subject(), open });
  };
  const bump = async () => {
    const { data } = await session(twin).play('check-spin', { set });
    const level = data === null ? null : levelReading(data, 'bump');
    if (level === null) throw new Error('no bump');
    return level;
  };
  const trial = async (layer: string) => {
    const found = trialsFor(ready.rig, await bump(), (text) => told.push(text)).find((t) => t.layer === layer);
    if (found === undefined) throw new Error(layer);
    return found;
  };
  const broken = (change: (world: TwinWorld) => void): CheckBench['open'] => (r, layers) => {
    const world = twin(r, layers) as TwinWorld;
    change(world);
    return world;
  };

  test.each(['station-limit', 'board-limit'])('%s whose limit is not obeyed', async (layer) => {
    const t = await trial(layer);
    const proof = await tryLayer(session((r) => twin(r)), t, set);
    expect(proof).toMatchObject({ verdict: 'fail', detail: expect.stringMatching(/ended as done: this layer did not stop it/) as string });
  });
  test('a deadman that never comes', async () => {
    const proof = await tryLayer(session(broken((w) => { w.mute = () => true; })), await trial('deadman'), set);
    expect(proof).toMatchObject({ verdict: 'fail', detail: expect.stringMatching(/ended as done/) as string });
  });
  test('a stop button that is not connected', async () => {
    const proof = await tryLayer(session(broken((w) => { w.pressStop = () => true; })), await trial('stop-input'), set);
    expect(proof).toMatchObject({ verdict: 'fail' });
  });
  test('another layer that is first is no proof of this one', async () => {
    const station = await trial('station-limit');
    const proof = await tryLayer(session(twin), { ...station, by: 'controller' }, set);
    expect(proof).toMatchObject({ verdict: 'fail', detail: expect.stringMatching(/OVERSPEED by the station stopped it first/) as string });
  });
  test('a layer that is too slow is told with both times', async () => {
    const proof = await tryLayer(session(twin), { ...(await trial('deadman')), within_s: 0.02 }, set);
    expect(proof).toMatchObject({ verdict: 'fail', detail: expect.stringMatching(/came .* ms after the cause; 20 ms are accepted/) as string });
  });
  test('where no program presses the button, a person is told to', async () => {
    // Nobody presses: the layer has stopped nothing. Somebody does, a second later: it has, and lets go when asked.
    const idle = await tryLayer(session(broken((w) => { w.pressStop = () => false; })), await trial('stop-input'), set);
    expect(idle.verdict).toBe('fail');
    expect(told).toEqual(['Press the stop button now.']);
    told.length = 0;
    const proof = await tryLayer(session(broken((w) => {
      const press = w.pressStop.bind(w);
      w.pressStop = (pressed) => {
        if (pressed) timer(1000, w.clock.scheduler).subscribe(() => press(true));
        return false;
      };
      const clearTrip = w.clearTrip.bind(w);
      w.clearTrip = (why) => { if (told.includes('Let go of the stop button.')) press(false); return clearTrip(why); };
    })), await trial('stop-input'), set);
    expect(proof).toMatchObject({ verdict: 'pass' });
    expect(told).toEqual(['Press the stop button now.', 'Let go of the stop button.']);
  });
});

describe('which layers are tried', () => {
  const bump = { throttle: 0.1, speed_rpm: 4700, current_A: 0.1, voltage_V: 7.6, thrust_N: 0.03, turning: 1 };
  const layers = (folder: string): (readonly [string, string])[] => trialsFor(loadBench(folder).rig.usable!, bump, () => undefined).map((t) => [t.layer, t.runs_on]);

  test('a board that speaks our wire has four, three of them its own', () => {
    expect(layers(benchFolder())).toEqual([['station-limit', 'this computer'], ['board-limit', 'the board'], ['deadman', 'the board'], ['stop-input', 'the board']]);
  });
  test('on a Firmata board core and judge share this computer and are one; it has no deadman; its stop input counts where there is one', () => {
    const firmata = path.resolve(import.meta.dirname, '../../demo/firmata-bench');
    expect(layers(firmata)).toEqual([['station-limit', 'this computer'], ['stop-input', 'this computer']]);
    const { link } = loadBench(firmata).rig.usable!;
    if (link.kind !== 'firmata') throw new Error(link.kind);
    const without = { ...loadBench(firmata).rig.usable!, link: { ...link, stop_input: null } };
    expect(trialsFor(without, bump, () => undefined).map((t) => t.layer)).toEqual(['station-limit']);
  });
});

describe('a proof', () => {
  const bench = benchFolder({ rig: [['arm_when:', 'proof: { valid_for: 30 d }\narm_when:']] });
  const { rig } = readyCheck(bench, 'check-rest');
  const sound = (over: Partial<RigCheck> = {}): RigCheck => ({
    spoolbench: 1, rig_check: rig.name, at: '2026-03-01T12:00:00Z', simulated: true, version: '0', rig_sha256: rigDigest(rig), records: 'r',
    findings: [], layers: [{ layer: 'deadman', runs_on: 'the board', verdict: 'pass', to_zero_s: 0.1, to_standstill_s: 0.5, detail: '', record: null }], proven: true, ...over,
  });
  const problem = (over: Partial<RigCheck>, now_ms = NOW_ms): string | null => judgeProof({ path: 'p', check: sound(over) }, rig, now_ms).problem;

  test('holds to the end of its time and not a second longer', () => {
    const month_ms = 30 * 86_400_000;
    expect(problem({}, NOW_ms + month_ms)).toBeNull();
    expect(problem({}, NOW_ms + month_ms + 1000)).toMatch(/is 30 d old; 30 d are accepted/);
  });
  test('is none when it is missing, unreadable, failed, of another rig state, or from the future', () => {
    expect(judgeProof(null, rig, NOW_ms).problem).toMatch(/has never been checked/);
    expect(judgeProof({ path: 'x.json', check: null }, rig, NOW_ms).problem).toMatch(/x\.json cannot be read/);
    expect(problem({ proven: false })).toMatch(/did not prove every stopping layer/);
    expect(problem({ rig_sha256: 'other' })).toMatch(/limits have changed since/);
    expect(problem({}, NOW_ms - 1000)).toMatch(/later than this computer's clock/);
  });
  test('is asked of nobody whose rig file does not ask for it', () => {
    expect(judgeProof(null, { ...rig, proof: null }, NOW_ms).problem).toBeNull();
  });
  test('a changed limit, link or channel changes the digest; a note does not', () => {
    expect(rigDigest({ ...rig, limits: { ...rig.limits, host_silence_s: 0.2 } })).not.toBe(rigDigest(rig));
    expect(rigDigest({ ...rig, channels: rig.channels.slice(1) })).not.toBe(rigDigest(rig));
    expect(rigDigest({ ...rig, about: 'by the window' })).toBe(rigDigest(rig));
  });
  test('missing blocks a run before anything turns; present it lets it run, and the record says so', async () => {
    await expect(runFile('spin-up', { bench, set: ['starts=1'] }, SILENT)).rejects.toThrow(/never been checked/);
    expect(fs.existsSync(path.join(bench, 'records'))).toBe(false);
    keepCheck(bench, sound({ at: new Date(Date.now() - 1000).toISOString() }), Date.now());
    expect(() => { requireProof(bench, rig); }).not.toThrow();
    expect(proofNote(bench, rig)).toMatchObject({ proven: true, current: true, layers: [{ layer: 'deadman', to_zero_s: 0.1 }] });
    const end = await runFile('spin-up', { bench, set: ['starts=1'] }, SILENT);
    expect(end.outcomes).toEqual(['done']);
    const [record] = fs.readdirSync(path.join(end.folder, 'runs')).map((file) => readRecord(path.join(end.folder, 'runs', file)));
    expect(record.header?.limits).toMatchObject({ proof: { proven: true, current: true, layers: [{ layer: 'deadman', verdict: 'pass', to_zero_s: 0.1, to_standstill_s: 0.5 }] } });
  });
  test('the newest check of this rig counts, and a damaged one hides no older one silently', () => {
    const file = keepCheck(bench, sound({ version: 'newest' }), Date.now() + 5000);
    expect(newestCheck(bench, rig)?.check?.version).toBe('newest');
    fs.truncateSync(file, 20);
    expect(newestCheck(bench, rig)).toMatchObject({ path: file, check: null });
    expect(() => { requireProof(bench, rig); }).toThrow(/cannot be read as a rig check/);
    expect(newestCheck(bench, { name: 'another-rig' })).toBeNull();
  });
});

describe('a real rig', () => {
  const serial = () => benchFolder({ rig: [['link: { kind: twin, twin: scout, seed: 1 }', 'link: { kind: serial, port: /dev/no-such-port }'], ['supply: { kind: twin,', 'supply: { kind: manual,']] });
  test('is not started before somebody has said that the guard is closed', async () => {
    const bench = serial();
    await expect(runFile('check-me', { bench }, SILENT)).rejects.toThrow(/no built-in protocol/);
    await expect(runFile('staircase', { bench }, SILENT)).rejects.toThrow(/real rig: before it starts somebody says that the guard is closed.*--yes/);
    expect(fs.existsSync(path.join(bench, 'records'))).toBe(false);
  });
  test('with --yes goes on to its port, and names what is wrong there', async () => {
    await expect(runFile('staircase', { bench: serial(), yes: true }, SILENT)).rejects.toThrow(/no-such-port/);
  });
});

describe('the longest run', () => {
  test('counts the rests for the zero of the load cell: what fits without them is refused with them', () => {
    const bench = (longest: string): string => benchFolder({ rig: [['longest_run: 10 min', `longest_run: ${longest}`]] });
    const spin = (longest: string) => () => prepareCampaign('soak', { bench: bench(longest), set: ['hold=60 s'] });
    const { walk } = [...prepareCampaign('soak', { bench: bench('10 min'), set: ['hold=60 s'] }).protocols.values()][0];
    const all_s = walk.duration_s + 1 + COAST_S + 1;
    expect(spin(`${all_s} s`)).not.toThrow();
    expect(spin(`${all_s - 0.1} s`)).toThrow(/more than longest_run of the rig/);
  });
});

describe('repeatability study', () => {
  test('on the simulated rig finds what its mountings differ by, and writes the line for the rig file', async () => {
    const bench = benchFolder();
    const { study, path: file } = await studyMountings({
      bench, person: { ask: () => Promise.resolve('yes'), tell: () => undefined }, reporter: SILENT, open: twin, now_ms: () => NOW_ms, mountings: 4, runs: 2, throttle: 0.5,
    });
    expect(study.remount).toMatch(/^remount: \{ mounts: 4, thrust: [\d.]+ %, speed: [\d.]+ %, power: [\d.]+ % \}$/);
    const { thrust } = study.split;
    if (!thrust.ok) throw new Error(thrust.reason);
    // The simulated mountings differ by about 0.6 % in thrust: four of them show it within a factor of four (χ² with 3 degrees of freedom).
    expect(thrust.between).toBeGreaterThan(0.0015);
    expect(thrust.between).toBeLessThan(0.024);
    expect(thrust.at_most).toBeGreaterThan(thrust.between);
    expect(file !== null && fs.existsSync(file)).toBe(true);
  });
  test('of one mounting is refused', async () => {
    await expect(studyMountings({
      bench: benchFolder(), person: { ask: () => Promise.resolve('yes'), tell: () => undefined }, reporter: SILENT, open: twin, mountings: 1, runs: 2, throttle: 0.5,
    })).rejects.toThrow(/2 of each at least/);
  });
});
