// Goal: killed at any moment, a campaign goes on at the first run without a good outcome; it repeats no good one and skips none.
// Method: the journal's disk dies at the n-th write for 200 n, keeping part of the line; what was made is counted on the bench.
import fs from 'node:fs';
import path from 'node:path';
import { afterAll, describe, expect, test, vi } from 'vitest';
import { BadInput } from '../../src/app/errors';
import { prepareCampaign } from '../../src/app/prepare';
import { CampaignFolder, type JournalFile } from '../../src/app/campaign-folder';
import type { CampaignInput } from '../../src/app/campaign-run';
import { LineFile } from '../../src/record/file-lines';
import { cleanUp } from './kit';
import { foldersIn, GOOD, journalOf, PretendedWorld, session, tiny, tinyBench, type Bench } from './unattended-kit';

afterAll(cleanUp);

const FACTORS = 'factors: { switching_frequency: { levels: [22 kHz, 44 kHz, 88 kHz], apply: rig }, timing_advance: { levels: [0 deg, 8 deg, 16 deg], apply: rig } }\n';

class Killed extends Error {}

/** A journal that is not forced to the medium after each line: thousands of sessions are played here. */
function quick(file: string): JournalFile {
  return new LineFile(file, () => undefined);
}

/** A journal on a disk that dies at its n-th write, after part of the line. */
function dyingAt(n: number, kept: number) {
  return (file: string): JournalFile => {
    const real = quick(file);
    let writes = 0;
    return {
      append: (line) => {
        if (++writes === n) {
          fs.appendFileSync(file, line.slice(0, Math.floor(kept * line.length)));
          throw new Killed();
        }
        real.append(line);
      },
      close: () => { real.close(); },
    };
  };
}

/** Pretends to play: makes the record as a real run does, and notes under which settings. */
function playing(made: { id: string; at: string }[], world: PretendedWorld): CampaignInput['playRun'] {
  return (input) => {
    fs.writeFileSync(input.path, 'record', { flag: 'wx' });
    made.push({ id: String(input.header.record_id), at: JSON.stringify([world.set.switching_frequency, world.set.timing_advance]) });
    return Promise.resolve({ outcome: GOOD, duration_s: 1, record: { path: input.path, sha256: '', bytes: 6, complete: true } });
  };
}

async function pretend(bench: Bench, made: { id: string; at: string }[], options: Parameters<typeof session>[1] = {}) {
  // A new process finds the bench with none of its settings made.
  const world = new PretendedWorld();
  return await session(bench, { world: () => world, playRun: playing(made, world), openJournal: quick, ...options });
}

describe('killed at the n-th write', () => {
  const bench = tinyBench(tiny(`${FACTORS}repeats: 6`));
  const plan = prepareCampaign(bench.file).plan;

  test.each([0, 0.5, 0.999, 1])('for 200 n with %f of the line kept: every run good exactly once, under its own setting', async (kept) => {
    for (let n = 1 + Math.round(kept * 2); n <= 200; n += 4) {
      fs.rmSync(bench.records, { recursive: true, force: true });
      const made: { id: string; at: string }[] = [];
      await expect(pretend(bench, made, { openJournal: dyingAt(n, kept) })).rejects.toThrow(Killed);
      const before = made.length;
      const end = await pretend(bench, made, { resume: true });
      expect(end).toMatchObject({ good: 54, planned: 54, stopped: null });
      expect(foldersIn(bench)).toHaveLength(1);
      const good = journalOf(foldersIn(bench)[0]).flatMap((e) => (e.type === 'ended' && e.outcome === 'done' ? [e.run] : []));
      expect(good, `n = ${n}`).toEqual(plan.runs.map((r) => r.index));
      // The bench may have made one run more than the journal knows: the one whose ending could not be written down.
      expect(made.length - 54).toBeLessThanOrEqual(1);
      expect(made.slice(before).map((m) => m.id)).toEqual(plan.runs.slice(54 - (made.length - before)).map((r) => r.id));
      const wanted = new Map(plan.runs.map((r) => [r.id, JSON.stringify([r.setting.levels.switching_frequency.value, r.setting.levels.timing_advance.value])]));
      for (const m of made) expect(m.at).toBe(wanted.get(m.id));
    }
  });

  test('again and again, in every session at another write, ends as if it had never been killed', async () => {
    fs.rmSync(bench.records, { recursive: true, force: true });
    const made: { id: string; at: string }[] = [];
    let deaths = 0;
    for (let n = 3; ; n = 3 + ((n * 7) % 11)) {
      const resume = deaths > 0;
      const end = await pretend(bench, made, { resume, openJournal: dyingAt(n, (n % 5) / 4) }).catch((error: unknown) => {
        if (!(error instanceof Killed)) throw error;
        return null;
      });
      if (end !== null) break;
      deaths++;
      expect(deaths).toBeLessThan(500);
    }
    expect(deaths).toBeGreaterThan(20);
    const good = journalOf(foldersIn(bench)[0]).flatMap((e) => (e.type === 'ended' && e.outcome === 'done' ? [e.run] : []));
    expect(good).toEqual(plan.runs.map((r) => r.index));
    const records = fs.readdirSync(path.join(foldersIn(bench)[0], 'runs'));
    expect(records).toHaveLength(made.length);
  });
});

describe('a campaign that changed', () => {
  const changes: readonly [string, string, string, string, RegExp][] = [
    ['a limit', 'rig.yaml', 'current_mean: { above: 9 A', 'current_mean: { above: 8 A', /limits current_mean\.above_A: was 9, is 8/],
    ['the rig', 'rig.yaml', 'lead_resistance: 5 mohm', 'lead_resistance: 6 mohm', /rig lead_resistance_ohm: was 0\.005, is 0\.006/],
    ['the article', 'article.yaml', 'resistance: 170 mohm', 'resistance: 160 mohm', /article motor\.resistance_ohm: was 0\.17, is 0\.16/],
    ['the order', 'campaigns/tiny.yaml', 'seed: 3', 'seed: 4', /seed: was 3, is 4/],
    ['the number of repeats', 'campaigns/tiny.yaml', 'repeats: 1', 'repeats: 2', /runs count: was 9, is 18/],
    ['what a protocol plays', 'protocols/blip.yaml', '100 ms', '120 ms', /segments of blip: was /],
    ['what happens between runs', 'campaigns/tiny.yaml', 'rest: 1 s', 'rest: 2 s', /between_runs rest_s: was 1, is 2/],
  ];
  async function begun() {
    const bench = tinyBench(tiny(`${FACTORS}repeats: 1\norder: { seed: 3 }\nbetween_runs: { rest: 1 s }`));
    await expect(pretend(bench, [], { openJournal: dyingAt(12, 0) })).rejects.toThrow(Killed);
    return bench;
  }
  const edit = (bench: Bench, file: string, from: string, to: string): void => {
    const at = path.join(bench.folder, file);
    const text = fs.readFileSync(at, 'utf8');
    expect(text).toContain(from);
    fs.writeFileSync(at, text.replace(from, to));
  };

  test.each(changes)('in %s is not taken up, and the refusal says what changed', async (_, file, from, to, said) => {
    const bench = await begun();
    edit(bench, file, from, to);
    await expect(pretend(bench, [], { resume: true })).rejects.toThrow(said);
    edit(bench, file, to, from);
    expect(await pretend(bench, [], { resume: true })).toMatchObject({ good: 9, stopped: null });
  });

  test('in a calibration is not taken up', async () => {
    const bench = await begun();
    fs.mkdirSync(path.join(bench.folder, 'calibration'), { recursive: true });
    fs.writeFileSync(path.join(bench.folder, 'calibration/thrust.yaml'), fs.readFileSync(path.join(import.meta.dirname, '../model/fixtures/calibration.yaml'), 'utf8').replace(/rig: .*/, 'rig: scout-stand'));
    await expect(pretend(bench, [], { resume: true })).rejects.toThrow(/calibration/);
  });

  test.each([
    ['a comment', 'rig.yaml', '# SIMULATED rig.', '# A SIMULATED rig.'],
    ['a rule for trips', 'campaigns/tiny.yaml', 'order:', 'on_trip: { retry_once: [STALL] }\norder:'],
    ['the air at the bench', 'rig.yaml', 'limits:', 'environment: { temperature: 24 °C, pressure: 990 hPa, humidity: 40 % }\nlimits:'],
    ['a fault of the simulated rig', 'rig.yaml', 'seed: 1 }', 'seed: 1, faults: [{ fault: lost-step, at: 1 s }] }'],
  ])('in %s alone goes on', async (_, file, from, to) => {
    const bench = await begun();
    edit(bench, file, from, to);
    expect(await pretend(bench, [], { resume: true })).toMatchObject({ good: 9, stopped: null });
  });

  test('by an edited plan is not taken up', async () => {
    const bench = await begun();
    const plan = path.join(foldersIn(bench)[0], 'campaign.json');
    fs.writeFileSync(plan, fs.readFileSync(plan, 'utf8').replace('"repeat": 1', '"repeat": 2'));
    await expect(pretend(bench, [], { resume: true })).rejects.toThrow(/edited/);
  });
});

test('a plan that was cut off while it was written is left aside: nothing was run in it', async () => {
  const bench = tinyBench(tiny('repeats: 2'));
  const cut = path.join(bench.records, 'tiny-2026-01-01T00-00-00Z');
  fs.mkdirSync(cut, { recursive: true });
  fs.writeFileSync(path.join(cut, 'campaign.json'), '{ "spoolbench": 1, "fing');
  expect(await pretend(bench, [], { resume: true })).toMatchObject({ good: 2, stopped: null });
  expect(foldersIn(bench)).toHaveLength(2);
});

test('--resume takes the newest unfinished folder and leaves finished ones alone', async () => {
  const bench = tinyBench(tiny('repeats: 3'));
  await pretend(bench, []);
  const [finished] = foldersIn(bench);
  const journal = fs.readFileSync(path.join(finished, 'journal.jsonl'));
  const made: { id: string; at: string }[] = [];
  await pretend(bench, made, { resume: true });
  expect(made).toHaveLength(3);
  expect(fs.readFileSync(path.join(finished, 'journal.jsonl'))).toEqual(journal);
});

test('a clock that jumps changes the times in the journal and nothing else', async () => {
  const bench = tinyBench(tiny(`${FACTORS}repeats: 2\nbetween_runs: { rest: 5 s }`));
  await pretend(bench, []);
  const steady = journalOf(foldersIn(bench)[0]);
  fs.rmSync(bench.records, { recursive: true });
  let call = 0;
  const now = vi.spyOn(Date, 'now').mockImplementation(() => 1.8e12 + [0, 86_400_000, -3.15e10, 5][call++ % 4]);
  await pretend(bench, []);
  now.mockRestore();
  const jumping = journalOf(foldersIn(bench)[0]);
  const untimed = (entries: typeof steady): unknown[] => entries.map((e) => ({ ...e, at: '' }));
  expect(untimed(jumping)).toEqual(untimed(steady));
  expect(new Set(jumping.map((e) => e.at?.slice(0, 4))).size).toBeGreaterThan(1);
});

describe('two on one folder', () => {
  test('the second is refused with the process that is in, and changes nothing', () => {
    const bench = tinyBench(tiny('repeats: 2'));
    const ready = prepareCampaign(bench.file);
    const first = CampaignFolder.start(bench.records, ready);
    const journal = fs.readFileSync(path.join(first.path, 'journal.jsonl'));
    expect(() => CampaignFolder.resume(bench.records, ready)).toThrow(`in use by process ${process.pid}; wait for it or stop it`);
    expect(fs.readFileSync(path.join(first.path, 'journal.jsonl'))).toEqual(journal);
    first.close();
    CampaignFolder.resume(bench.records, ready).close();
  });

  test.each([
    ['that is gone', '999999999 1'],
    ['whose number another process has now', `${process.pid} 1`],
    ['of which only an empty file is left', ''],
  ])('the lock of a process %s is taken over', (_, left) => {
    const bench = tinyBench(tiny('repeats: 2'));
    const ready = prepareCampaign(bench.file);
    const { path: folder, close } = open(bench);
    close();
    fs.writeFileSync(path.join(folder, '.in-use'), left);
    const again = CampaignFolder.resume(bench.records, ready);
    again.close();
    expect(fs.readdirSync(folder).filter((f) => f.startsWith('.in-use'))).toEqual([]);
  });

  function open(bench: Bench) {
    const folder = CampaignFolder.start(bench.records, prepareCampaign(bench.file));
    return { path: folder.path, close: () => { folder.close(); } };
  }
});

test('a journal of another plan is refused, and the folder is given back', () => {
  const bench = tinyBench(tiny('repeats: 2'));
  const ready = prepareCampaign(bench.file);
  const folder = CampaignFolder.start(bench.records, ready);
  folder.close();
  const file = path.join(folder.path, 'journal.jsonl');
  fs.writeFileSync(file, fs.readFileSync(file, 'utf8').replace(/"fingerprint":"[0-9a-f]{8}/, '"fingerprint":"00000000'));
  expect(() => CampaignFolder.resume(bench.records, ready)).toThrow(BadInput);
  expect(fs.existsSync(path.join(folder.path, '.in-use'))).toBe(false);
});
