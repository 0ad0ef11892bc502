// Goal: `rig watch` shows what the bench shows, says why it may not be armed, arms nothing, and ends when it is told to.
// Method: the command itself, on the simulated rig and on the served one behind a pseudo-terminal; its JSON lines are read back. Real time.
import { spawn, spawnSync } from 'node:child_process';
import path from 'node:path';
import { afterEach, describe, expect, test } from 'vitest';
import { benchFolder, cleanUp } from '../app/kit';
import { cable, endAll, HAS_SOCAT, serialBench, Twins, until } from './guard-kit';

const BIN = path.resolve(import.meta.dirname, '../../bin/spoolbench.mjs');
interface Line { readonly rig: string; readonly simulated: boolean; readonly t_s: number; readonly values: Readonly<Record<string, number | null>> | null; readonly rows: number; readonly link: { readonly bad_frames: number; readonly missing_frames: number } | null; readonly not_to_be_armed: readonly string[] }
const linesOf = (text: string): Line[] => text.split('\n').filter((l) => l.startsWith('{')).map((l) => JSON.parse(l) as Line);
const watch = (...args: readonly string[]) => spawnSync(process.execPath, [BIN, 'rig', 'watch', ...args], { encoding: 'utf8', timeout: 60_000 });

afterEach(() => {
  endAll();
  cleanUp();
});

describe('rig watch', () => {
  test('on the simulated rig: supply voltage, no current, no rotation, and that it is simulated', () => {
    const { status, stdout, stderr } = watch(benchFolder(), '--for', '1', '--every', '0.3', '--json');
    expect(status, stderr).toBe(0);
    const lines = linesOf(stdout);
    expect(lines.length).toBeGreaterThanOrEqual(3);
    const last = lines.at(-1);
    expect(last).toMatchObject({ rig: 'scout-stand', simulated: true, not_to_be_armed: [] });
    expect(Math.abs((last?.values?.voltage ?? NaN) - 7.6)).toBeLessThan(0.1);
    expect(Math.abs(last?.values?.current ?? NaN)).toBeLessThan(0.1);
    expect(last?.values?.speed ?? null).toBeNull();
    lines.slice(1).forEach((l, i) => { expect(l.t_s).toBeGreaterThan(lines[i].t_s); });
  });

  test('for people: readings with their units, that they are simulated, and whether the motor may be armed', () => {
    const { status, stdout, stderr } = watch(benchFolder(), '--for', '0.5', '--every', '0.5');
    expect(status, stderr).toBe(0);
    expect(stdout).toMatch(/SIMULATED.* A {2}7\.\d+ V .*speed – .*motor \d+\.\d °C.* · \d+ rows · may be armed/);
  });

  test('a rig file that cannot be read ends with its problem, and exit 2', () => {
    const { status, stderr } = watch(benchFolder({ rig: [['tick: 1 ms', 'tikc: 1 ms']] }), '--for', '1');
    expect(status).toBe(2);
    expect(stderr).toMatch(/rig\.yaml:\d+:\d+ .*tikc.*did you mean tick/);
  });

  test.runIf(HAS_SOCAT)('over a port: rows, the health of the line, and what is wrong once the stop button is pressed; Ctrl-C ends it, and the board was never armed', async () => {
    const line = await cable();
    const bench = serialBench({ port: line.host });
    const twins = new Twins();
    await twins.serve(line.board, bench, 'thrust-curve');
    const child = spawn(process.execPath, [BIN, 'rig', 'watch', bench, '--every', '0.3', '--json'], { stdio: ['ignore', 'pipe', 'pipe'] });
    let said = '';
    child.stdout.on('data', (d: Buffer) => { said += d.toString(); });
    const ended = new Promise<number | null>((done) => { child.once('exit', (code) => { done(code); }); });
    await until(() => linesOf(said).length >= 3, 40_000, 'three looks');
    const calm = linesOf(said);
    expect(calm.every((l) => l.simulated && l.not_to_be_armed.length === 0)).toBe(true);
    expect(calm.reduce((sum, l) => sum + l.rows, 0)).toBeGreaterThan(0);
    twins.hands(line.board, 'stop-input on');
    await until(() => (linesOf(said).at(-1)?.not_to_be_armed.length ?? 0) > 0, 10_000, 'the stop button told');
    child.kill('SIGINT');
    expect(await ended).toBe(0);
    expect(linesOf(said).at(-1)).toMatchObject({ link: { bad_frames: 0, missing_frames: 0 }, not_to_be_armed: [expect.stringMatching(/stop/i)] });
    expect(twins.states(line.board).filter((s) => s !== 'safe' && !s.startsWith('tripped'))).toEqual([]);
  }, 60_000);
});
