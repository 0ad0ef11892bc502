// A protocol in TypeScript: raises the throttle in small steps until the current has reached a target, then stays there.
// A module exports a function that receives the builders and returns what defineProtocol made of them.
import type { ProtocolKit } from 'spoolbench/protocols';

export default ({ defineProtocol, level, ramp, mark, ask }: ProtocolKit) =>
  defineProtocol({
    name: 'creep-up',
    summary: 'Finds the throttle for a current in small steps',
    parameters: {
      current: { dimension: 'current', default: 1, min: 0.1, max: 5, about: 'Current to reach' },
      step: { dimension: 'ratio', default: 0.05, min: 0.005, max: 0.1, about: 'Rise of the throttle from one level to the next' },
      top: { dimension: 'ratio', default: 0.8, min: 0.1, max: 1, about: 'Throttle at which it gives up' },
    },
    needs: { propeller: 'on', channels: ['current'], sink: false, supply_V: null, min_rate_Hz: 100 },
    *steps(p) {
      let throttle = 0.1;
      yield level(throttle, 0.5, { role: 'start' });
      while (throttle < p.top) {
        throttle = Math.min(throttle + p.step, p.top);
        yield level(throttle, 0.5, { slew_per_s: 1 });
        const current = yield ask('current', 0.2);
        if (current !== undefined && current >= p.current) break;
      }
      yield mark('reached');
      yield level(throttle, 2, { role: 'plateau', tags: { throttle } });
      yield ramp(0, 1, { role: 'ramp-down' });
    },
  });
