// Goal: rig check proves each stopping layer of a board behind the guard process, and a person who presses the button is waited for.
// Method: the simulated board in real time behind a pseudo-terminal; the person presses the button a second after being told.
import fs from 'node:fs';
import path from 'node:path';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { checkRig } from '../../src/app/rig-check/check';
import { cleanUp, SILENT } from '../app/kit';
import { cable, endAll, HAS_SOCAT, serialBench, Twins } from './guard-kit';

describe.skipIf(!HAS_SOCAT)('rig check over the guard', () => {
  let twins: Twins;
  beforeAll(() => { twins = new Twins(); });
  afterAll(() => { endAll(); cleanUp(); });

  test('each layer alone stops the motor; the button is pressed and let go of by a person', async () => {
    const line = await cable();
    const bench = serialBench({ port: line.host });
    await twins.serve(line.board, bench, 'protocols/short.yaml');
    const told: string[] = [];
    const hand = (ms: number, words: string): void => { setTimeout(() => { twins.hands(line.board, words); }, ms); };
    const asked: string[] = [];
    const { check, stopped } = await checkRig({
      bench, reporter: SILENT,
      person: {
        tell: (text) => {
          told.push(text);
          hand(text.startsWith('Press') ? 1000 : 300, text.startsWith('Press') ? 'stop-input on' : 'stop-input off');
        },
        ask: (question) => {
          asked.push(question);
          // The hands of the simulated bench follow the questions.
          if (question.startsWith('Take the propeller off')) twins.hands(line.board, 'propeller off');
          if (question.includes('put the propeller on')) twins.hands(line.board, 'propeller on');
          return Promise.resolve(question.startsWith('Tap') ? 'no' : 'yes');
        },
      },
    });
    expect(check.layers.map((l) => [l.layer, l.verdict, l.detail.slice(0, 13)])).toEqual(
      ['station-limit', 'board-limit', 'deadman', 'stop-input'].map((layer) => [layer, 'pass', 'Zero throttle']));
    expect(told).toEqual(['Press the stop button now.', 'Let go of the stop button.']);
    expect(check.findings.filter((f) => f.verdict === 'fail')).toEqual([]);
    expect(check).toMatchObject({ proven: true, simulated: true });
    expect(stopped).toBe(false);
    expect(fs.readdirSync(path.join(bench, 'checks'))).toHaveLength(1);
    expect(asked.length).toBeGreaterThanOrEqual(3);
  }, 200_000);
});
