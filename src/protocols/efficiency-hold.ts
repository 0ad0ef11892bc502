// efficiency-hold: what one gets for the same current, power or speed.
import type { Segment } from '../model/segment';
import { ENDING_S, holdCurrent, holdPower, holdSpeed, level, ramp } from './builders';
import { defineProtocol, type DriveFacts } from './protocol';
import { hoverCurrent } from './targets';

/**
 * A closed-loop hold. At the same speed the same propeller is the same load, so two settings compare by their watts; at the same
 * current or power they compare by speed and thrust. With no target given, the current at about hover is held.
 */
export const efficiencyHold = defineProtocol({
  name: 'efficiency-hold',
  summary: 'Speed and thrust at constant current or power, or power at constant speed',
  parameters: {
    current: { dimension: 'current', default: null, min: 0.02, max: 200, about: 'Current to hold; at most one of current, power, speed', when_absent: 'about hover, from the article, when power and speed are absent too' },
    power: { dimension: 'power', default: null, min: 0.1, max: 5000, about: 'Electrical power to hold', when_absent: 'not held' },
    speed: { dimension: 'speed', default: null, min: 300, max: 200_000, about: 'Speed to hold', when_absent: 'not held' },
    hold: { dimension: 'time', default: 3, min: 1, max: 600, about: 'Time of the hold' },
    use_last: { dimension: 'time', default: 2, min: 0.2, max: 600, about: 'Last part of the hold that analysis uses' },
    start: { dimension: 'ratio', default: 0.1, min: 0.02, max: 0.5, about: 'Throttle at which the motor starts' },
    start_for: { dimension: 'time', default: 0.5, min: 0.1, max: 10, about: 'Time at the start throttle' },
    cap: { dimension: 'ratio', default: 1, min: 0.05, max: 1, about: 'Throttle that the loop may not exceed' },
  },
  check(p) {
    const targets = [p.current, p.power, p.speed].filter((target) => target !== null).length;
    return [
      ...(targets <= 1 ? [] : [{ path: ['current'], message: 'more than one target is given', accepted: 'one of current, power, speed' }]),
      ...(p.use_last < p.hold ? [] : [{ path: ['use_last'], message: 'no time is left for the loop to settle', accepted: 'less than hold' }]),
      ...(p.cap >= p.start ? [] : [{ path: ['cap'], message: 'the cap lies below the start throttle', accepted: 'start or more' }]),
    ];
  },
  derive: (p, facts) => (p.current === null && p.power === null && p.speed === null ? { current: hoverCurrent(facts) } : {}),
  needs: { propeller: 'on', channels: ['current', 'voltage', 'speed', 'thrust'], sink: false, supply_V: null, min_rate_Hz: 50 },
  *steps(p, facts) {
    yield level(p.start, p.start_for, { label: 'start', role: 'start' });
    yield held(p, facts);
    yield ramp(0, ENDING_S, { label: 'ramp down', role: 'ramp-down' });
  },
});

interface Hold {
  readonly current: number | null;
  readonly power: number | null;
  readonly speed: number | null;
  readonly hold: number;
  readonly use_last: number;
  readonly cap: number;
}

function held(p: Hold, facts: DriveFacts): Segment {
  const common = { role: 'hold', cap: p.cap };
  if (p.power !== null) return holdPower(p.power, p.hold, { ...common, tags: { use_last_s: p.use_last, target_W: p.power } });
  if (p.speed !== null) return holdSpeed(p.speed, p.hold, { ...common, tags: { use_last_s: p.use_last, target_rpm: p.speed } });
  const current = p.current ?? hoverCurrent(facts).value;
  return holdCurrent(current, p.hold, { ...common, tags: { use_last_s: p.use_last, target_A: current } });
}
