// spin-up: does it start, every time, and how long does that take?
import { level, ramp, repeat, rest, waitUntil } from './builders';
import { defineProtocol } from './protocol';
import { runningSpeed } from './targets';

/**
 * Many starts from rest. Each waits at the start throttle until the speed has been reached, at most `within`; a start that
 * runs into that bound has failed and is counted. Then a short run, a soft stop and a rest that lets the motor stand still.
 */
export const spinUp = defineProtocol({
  name: 'spin-up',
  summary: 'Start reliability and time to speed from many starts from rest',
  parameters: {
    starts: { dimension: 'count', default: 75, min: 1, max: 1000, about: 'Number of starts' },
    throttle: { dimension: 'ratio', default: 0.15, min: 0.02, max: 0.6, about: 'Throttle of the start' },
    speed: { dimension: 'speed', default: null, min: 100, max: 200_000, about: 'Speed at which the motor counts as started', when_absent: '60 % of the ideal speed at the start throttle, from the article' },
    steady: { dimension: 'time', default: 0.02, min: 0, max: 1, about: 'Time for which the speed must stay above' },
    within: { dimension: 'time', default: 2, min: 0.1, max: 20, about: 'Longest time for a start' },
    run: { dimension: 'time', default: 0.2, min: 0.05, max: 10, about: 'Time at the start throttle once it runs' },
    fall: { dimension: 'time', default: 0.2, min: 0.05, max: 10, about: 'Time of the ramp to zero' },
    rest: { dimension: 'time', default: 1.5, min: 0.2, max: 60, about: 'Rest before every start, long enough to stand still' },
  },
  check: (p) => (p.steady < p.within ? [] : [{ path: ['steady'], message: 'the speed cannot stay that long within the bound', accepted: 'less than within' }]),
  derive: (p, facts) => (p.speed === null ? { speed: runningSpeed(facts, p.throttle) } : {}),
  needs: { propeller: 'any', channels: ['speed', 'current'], sink: false, supply_V: null, min_rate_Hz: 200 },
  *steps(p, facts) {
    const speed = p.speed ?? runningSpeed(facts, p.throttle).value;
    yield* repeat(p.starts, (start) => {
      const tags = { start };
      return [
        rest(p.rest, { label: `rest before start ${start}/${p.starts}`, role: 'rest', tags }),
        waitUntil(p.throttle, { channel: 'speed', is: 'above', value: speed, for_s: p.steady }, p.within, {
          label: `start ${start}/${p.starts}`, role: 'start', tags: { start, speed_rpm: speed, steady_s: p.steady, within_s: p.within },
        }),
        level(p.throttle, p.run, { label: `run ${start}/${p.starts}`, role: 'run', tags }),
        ramp(0, p.fall, { label: `stop ${start}/${p.starts}`, role: 'ramp-down', tags }),
      ];
    });
  },
});
