// Goal: a protocol file plays exactly what it says, with the same builders as TypeScript, and a bad one is named with its key.
// Method: files as text through the loader; played steps compared with the builders; every kind of bad use.
import { describe, expect, test } from 'vitest';
import { loadFile } from '../../src/model/load';
import { formatProblem } from '../../src/model/problem';
import type { ProtocolFile } from '../../src/model/files/protocol';
import { holdCurrent, holdPower, holdSpeed, level, mark, ramp, rest, train, waitUntil } from '../../src/protocols/builders';
import { BUILT_IN, catalogue } from '../../src/protocols/catalogue';
import { defineProtocol } from '../../src/protocols/protocol';
import { walk } from '../../src/protocols/walk';
import { FACTS, builtIn, file, listed, ready } from './bench';

function played(...files: ProtocolFile[]) {
  const c = catalogue([], files);
  expect(c.problems).toEqual([]);
  const protocol = c.find(files[0]?.name ?? '');
  if (protocol === undefined) throw new Error('not in the catalogue');
  return ready(protocol);
}

const EVERYTHING = `protocol: everything
segments:
  - ramp: { to: 50 %, in: 1 s, label: up to half, role: ramp-up, slew: 200 %/s }
  - level: { throttle: 50 %, for: 2 s, cap: 60 %, tags: { try: 3 } }
  - train: { low: 20 %, high: 40 %, cycles: 2, dwell: 300 ms, dither: 10 ms }
  - hold-current: { target: 1.4 A, for: 3 s }
  - hold-power: { target: 8 W, for: 3 s }
  - hold-speed: { target: 15000 rpm, for: 3 s }
  - mark: warm now
  - repeat: { times: 2, segments: [{ rest: { for: 500 ms } }, { level: { throttle: 10 %, for: 500 ms } }] }
  - wait-until: { throttle: 10 %, channel: motor_temperature, below: 40 °C, for: 500 ms, within: 120 s }
  - use: { kv: { plateau: 2 s } }
  - rest: { for: 1 s }
`;

describe('a protocol file', () => {
  test('plays the same steps as the builders give', () => {
    const half = [rest(0.5), level(0.1, 0.5)];
    expect(listed(played(file(EVERYTHING)).steps())).toEqual([
      ramp(0.5, 1, { label: 'up to half', role: 'ramp-up', slew_per_s: 2 }),
      level(0.5, 2, { cap: 0.6, tags: { try: 3 } }),
      ...train({ low: 0.2, high: 0.4, cycles: 2, dwell_s: 0.3, dither_s: 0.01, seed: 1 }),
      holdCurrent(1.4, 3), holdPower(8, 3), holdSpeed(15_000, 3), mark('warm now'), ...half, ...half,
      waitUntil(0.1, { channel: 'motor_temperature', is: 'below', value: 40, for_s: 0.5 }, 120),
      ...listed(ready(builtIn('kv'), { plateau: 2 }).bare()),
      rest(1),
    ]);
  });

  test('iterated twice gives equal steps, and each train its own dither', () => {
    const text = 'protocol: trains\nsegments: [{ train: { low: 10 %, high: 20 %, cycles: 3, dwell: 1 s, dither: 100 ms } }, { train: { low: 10 %, high: 20 %, cycles: 3, dwell: 1 s, dither: 100 ms } }]';
    const p = played(file(text));
    const first = listed(p.steps());
    expect(listed(p.steps())).toEqual(first);
    const dwells = first.map((s) => ('duration_s' in s ? s.duration_s : 0));
    expect(dwells.slice(0, 6)).not.toEqual(dwells.slice(6, 12));
  });

  test('without an ending ramps to zero', () => {
    const w = walk(played(file('protocol: open\nsegments: [{ level: { throttle: 30 %, for: 1 s } }]')).steps());
    expect(w.segments.at(-1)?.segment).toMatchObject({ kind: 'ramp', to: 0, role: 'ending' });
  });

  test('needs what its segments and the protocols it uses need', () => {
    expect(played(file(EVERYTHING)).needs).toEqual({ propeller: 'off', channels: ['current', 'voltage', 'speed', 'motor_temperature'], sink: true, supply_V: 3, min_rate_Hz: 50 });
    expect(played(file('protocol: plain\nsegments: [{ level: { throttle: 30 %, for: 1 s } }]')).needs).toEqual({ propeller: 'any', channels: [], sink: false, supply_V: null, min_rate_Hz: 1 });
  });

  test('may say itself what it needs', () => {
    const text = 'protocol: plain\nneeds: { propeller: on, channels: [thrust], sink: true, supply: 7 V, min_rate: 200 Hz }\nsegments: [{ rest: { for: 1 s } }]';
    expect(played(file(text)).needs).toEqual({ propeller: 'on', channels: ['thrust'], sink: true, supply_V: 7, min_rate_Hz: 200 });
  });

  test('may use another file, whatever the order of the two', () => {
    const outer = file('protocol: outer\nsegments: [{ use: inner }, { rest: { for: 1 s } }]');
    const inner = file('protocol: inner\nsegments: [{ level: { throttle: 30 %, for: 1 s } }]');
    const steps = listed(played(outer, inner).steps());
    expect(steps).toEqual([level(0.3, 1), rest(1)]);
    expect(listed(played(inner, outer).steps())[0]).toEqual(level(0.3, 1));
  });

  test('may use a protocol in TypeScript', () => {
    const own = defineProtocol({
      name: 'own', summary: 's', parameters: { at: { dimension: 'ratio', default: 0.2, min: 0, max: 0.5, about: 'Level' } },
      needs: { propeller: 'on', channels: [], sink: false, supply_V: null, min_rate_Hz: 1 },
      *steps(p) {
        yield level(p.at, 1);
      },
    });
    const c = catalogue([own], [file('protocol: outer\nsegments: [{ use: { own: { at: 40 % } } }]')]);
    expect(c.problems).toEqual([]);
    const outer = c.find('outer');
    expect(outer === undefined ? [] : listed(ready(outer).steps())[0]).toEqual(level(0.4, 1));
    expect(outer?.needs({}).propeller).toBe('on');
  });
});

describe('a bad protocol file', () => {
  const problems = (...texts: string[]) => catalogue([], texts.map(file)).problems;

  test('using a protocol that does not exist: the place, and which exist', () => {
    expect(problems('protocol: a\nsegments: [{ rest: { for: 1 s } }, { use: thrust-curv }]')).toEqual([
      { protocol: 'a', path: ['segments', 1, 'use'], message: 'there is no protocol "thrust-curv"', accepted: 'kv, thrust-curve, staircase, response, efficiency-hold, spin-up, soak, a' },
    ]);
  });

  test('giving wrong parameters: all of them at once, each with its path', () => {
    expect(problems('protocol: a\nsegments: [{ repeat: { times: 2, segments: [{ use: { response: { low: 10, hihg: 50 %, steps: 12, dwell: 2 A } } }] } }]').map((p) => [p.path.join('.'), p.message, p.accepted])).toEqual([
      ['segments.0.repeat.segments.0.use.response.low', '10 has no unit', 'a share such as 10 % (units %, ppm)'],
      ['segments.0.repeat.segments.0.use.response.steps', '12 is out of bounds', 'whole numbers 30 to 1000'],
      ['segments.0.repeat.segments.0.use.response.dwell', '"2 A" is a current, not a time', 'a time such as 500 ms (units s, ms, us, min, h, d)'],
      ['segments.0.repeat.segments.0.use.response.hihg', 'there is no such parameter; did you mean high?', 'low, high, steps, dwell, dither, settle, seed'],
    ]);
  });

  test('giving contradictory parameters', () => {
    expect(problems('protocol: a\nsegments: [{ use: { response: { low: 60 % } } }]')).toMatchObject([{ path: ['segments', 0, 'use', 'response', 'high'] }]);
  });

  test('using itself, directly or through others, is found and the way is shown', () => {
    expect(problems('protocol: a\nsegments: [{ use: a }]')).toMatchObject([{ protocol: 'a', message: 'this protocol uses itself: a → a' }]);
    const found = problems('protocol: a\nsegments: [{ use: b }]', 'protocol: b\nsegments: [{ repeat: { times: 2, segments: [{ use: c }] } }]', 'protocol: c\nsegments: [{ use: a }]');
    expect(found.map((p) => p.message)).toEqual(['this protocol uses itself: a → b → c → a', 'this protocol uses itself: b → c → a → b', 'this protocol uses itself: c → a → b → c']);
  });

  test('using another twice, or the same from two files, is no circle', () => {
    expect(problems('protocol: a\nsegments: [{ use: b }, { use: b }, { use: c }]', 'protocol: b\nsegments: [{ use: c }]', 'protocol: c\nsegments: [{ rest: { for: 1 s } }]')).toEqual([]);
  });

  test('taking a name that is taken', () => {
    expect(problems('protocol: kv\nsegments: [{ rest: { for: 1 s } }]')).toMatchObject([{ protocol: 'kv', message: 'the name "kv" is taken' }]);
    expect(problems('protocol: a\nsegments: [{ rest: { for: 1 s } }]', 'protocol: a\nsegments: [{ rest: { for: 1 s } }]')).toHaveLength(1);
  });

  test('mixing the propeller on and off, or two supply voltages', () => {
    expect(problems('protocol: a\nsegments: [{ use: kv }, { use: thrust-curve }]')).toMatchObject([{ path: ['segments', 1, 'use'], message: 'thrust-curve needs the propeller on, something before it needs it off' }]);
    expect(problems('protocol: a\nneeds: { propeller: on }\nsegments: [{ use: kv }]')).toHaveLength(1);
    expect(problems('protocol: a\nneeds: { supply: 4 V }\nsegments: [{ use: kv }]')).toMatchObject([{ message: 'kv needs a supply of 3 V, something before it needs 4 V' }]);
    expect(problems('protocol: a\nneeds: { supply: 4 V }\nsegments: [{ use: { kv: { supply: 4 V } } }]')).toEqual([]);
    expect(problems('protocol: a\nsegments: [{ use: kv }, { use: { kv: { supply: 4 V } } }]')).toHaveLength(1);
  });

  test.each([
    ['segments: [{ level: { throttle: 120 %, for: 1 s } }]', 'segments.0.level.throttle'],
    ['segments: [{ level: { throttle: 0.5, for: 1 s } }]', 'segments.0.level.throttle'],
    ['segments: [{ level: { throttle: 50 % } }]', 'segments.0.level.for'],
    ['segments: [{ leval: { throttle: 50 %, for: 1 s } }]', 'segments.0.leval'],
    ['segments: [{ ramp: { to: 50 %, in: 0 s } }]', 'segments.0.ramp.in'],
    ['segments: [{ wait-until: { channel: speed, above: 3 A, within: 1 s } }]', 'segments.0.wait-until.above'],
    ['segments: []', 'segments'],
  ])('%s is refused by its schema at %s', (text, key) => {
    const loaded = loadFile('protocol', 'my.yaml', `spoolbench: 1\nprotocol: a\n${text}`);
    expect(loaded.value).toBeNull();
    expect(loaded.problems.map(formatProblem).join('\n')).toContain(`my.yaml:3:`);
    expect(loaded.problems.map((p) => p.key)).toContain(key);
  });

  test('a step that no schema can refuse is found by walking', () => {
    const wait = 'segments: [{ wait-until: { throttle: 10 %, channel: speed, above: 3000 rpm, for: 2 s, within: 1 s } }]';
    expect(walk(played(file(`protocol: a\n${wait}`)).steps()).problems[0]?.message).toContain('leave room');
    const use = 'segments: [{ use: { soak: { hold: 60 s } } }]';
    const c = catalogue([], [file(`protocol: b\n${use}`)]).find('b');
    const poor = { ...FACTS, max_current_A: 5000, hover_thrust_N: null };
    expect(c === undefined ? [] : walk(ready(c, {}, poor).steps()).problems.map((p) => p.message).join()).toContain('give it yourself');
  });
});

test('the catalogue knows the seven built-in protocols by name', () => {
  expect(catalogue().names).toEqual(['kv', 'thrust-curve', 'staircase', 'response', 'efficiency-hold', 'spin-up', 'soak']);
  expect(BUILT_IN.map((p) => catalogue().find(p.name))).toEqual(BUILT_IN);
  expect(catalogue().find('nothing')).toBeUndefined();
});
