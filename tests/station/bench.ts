// A bench for station tests: the real controller core (wasm) with a small made-up drive behind real wire bytes, in virtual time.
import { instantiateCore, type CoreInstance } from '../../src/controller/wasm';
import type { SampleBlock } from '../../src/model/sample';
import type { BenchEvent } from '../../src/model/events';
import { channelFacts } from '../../src/model/channel-facts';
import { toCounts, type ChannelFact } from '../../src/model/channel';
import { articleSchema, type Article } from '../../src/model/files/article';
import { rigSchema, type Rig, type RigLimits } from '../../src/model/files/rig';
import type { Segment } from '../../src/model/segment';
import type { Permit, Trip } from '../../src/model/trip';
import type { NumberedSegment } from '../../src/sequencer/ports';
import { Station } from '../../src/station/station';
import type { StationConfig } from '../../src/station/config';
import { KIND_ON_WIRE } from '../../src/station/wire-tables';

export const RIG: Rig = rigSchema.parse({
  spoolbench: 1,
  rig: 'test-stand',
  link: { kind: 'twin', twin: 'scout', seed: 1 },
  tick: '1 ms',
  row_rate: '1 kHz',
  voltage_at: 'esc',
  lead_resistance: '8 mohm',
  throttle: { idle: '4 %' },
  sink: { kind: 'clamp', holds: '9 V' },
  supply: { kind: 'twin', voltage: '7.6 V', current_limit: '15 A', range: '2 V .. 12 V' },
  channels: {
    current: { period: '1 ms', gain: '10 mA', zero: 100 },
    voltage: { period: '1 ms', gain: '1.25 mV' },
    speed: { period: '1 ms', source: 'esc-telemetry', gain: '1 us', pole_pairs: 6 },
    thrust: { period: '12.5 ms', gain: '0.0005 N', u_offset: '0.002 N' },
    motor_temperature: { period: '100 ms', gain: '0.1 K' },
  },
  limits: {
    current_peak: { above: '40 A', for: '5 ms' },
    current_mean: { above: '9 A', over: '500 ms' },
    voltage_low: { below: '5.5 V', for: '20 ms' },
    voltage_high: { above: '9 V', for: '2 ms' },
    motor_temperature: { above: '90 °C', for: '500 ms' },
    speed: { above: '38000 rpm', for: '20 ms' },
    thrust: { above: '250 gf', for: '50 ms' },
    stall: { current: '3 A', for: '300 ms' },
    desync: { sustained: '200 ms', count: 3 },
    sensor_frozen: '200 ms',
    longest_run: '60 s',
    supply_sag: { below: '80 %', for: '50 ms' },
    trend: { motor_temperature: '20 K/s', over: '1 s' },
    mismatch: { thrust: '40 %', for: '500 ms' },
    stop: { current: '400 mA', speed: '1500 rpm', within: '4 s' },
  },
});

export const ARTICLE: Article = articleSchema.parse({
  spoolbench: 1,
  article: 'test-drive',
  motor: { name: 'made up', kv: '4500 rpm/V', pole_pairs: 6, resistance: '170 mohm', max_current: '9 A' },
  propeller: { name: 'made up', diameter: '3 in', pitch: '1.8 in', blades: 2, mounted: 'on' },
  esc: { name: 'made up' },
  mounting: { name: 'm1' },
  nominal_voltage: '7.6 V',
});

/** First-order in speed; current by load and acceleration. `bend` changes what the sensors show, `lose` what comes at all. */
export class Plant {
  rpm = 0;
  throttle = 0;
  readonly truth = { current: 0, voltage: 7.6, speed: 0, thrust: 0, motor_temperature: 30, esc_temperature: 30, torque: 0 };
  bend: (shown: Plant['truth']) => void = () => undefined;
  readonly silent = new Set<string>();
  readonly impossible = new Set<string>();
  readonly frozen = new Set<string>();
  private readonly kept = new Map<string, number>();
  private readonly facts: readonly ChannelFact[];

  constructor(
    private readonly core: CoreInstance,
    rig: Rig,
  ) {
    this.facts = channelFacts(rig);
  }

  /** One tick: the drive moves on, and each sensor whose period has passed gives a sample. */
  step(tick_us: number, now_us: number): void {
    const dt = tick_us / 1e6;
    const target = 32_000 * this.throttle;
    this.rpm += ((target - this.rpm) * dt) / (this.throttle > 0 ? 0.04 : 0.25);
    const x = this.rpm / 32_000;
    const shown = this.truth;
    shown.current = this.throttle > 0 ? 0.3 + 7 * x ** 3 + (12 * Math.max(0, target - this.rpm)) / 32_000 : 0;
    shown.voltage = 7.6 - 0.02 * shown.current;
    shown.speed = this.rpm;
    shown.thrust = (this.rpm / 24_000) ** 2;
    shown.motor_temperature = 30;
    this.bend(shown);
    for (const fact of this.facts) {
      if (this.silent.has(fact.kind)) continue;
      if (Math.floor(now_us / fact.period_us) === Math.floor((now_us - tick_us) / fact.period_us)) continue;
      const value = shown[fact.kind];
      const still = fact.kind === 'speed' && value < 300;
      const flip = (now_us / tick_us) % 3;
      let counts = still ? 65_535 : Math.round(toCounts(fact.conversion, value)) + (fact.kind === 'thrust' ? Math.floor(now_us / fact.period_us) % 3 : flip);
      if (this.frozen.has(fact.kind)) counts = this.kept.get(fact.kind) ?? counts;
      this.kept.set(fact.kind, counts);
      this.core.setInput(fact.id, counts, still || this.impossible.has(fact.kind) ? 0 : 1);
    }
  }
}

export interface Line {
  /** Changes bytes on their way to the station or to the board; an empty array loses them. */
  toStation: (bytes: Uint8Array) => Uint8Array;
  toBoard: (bytes: Uint8Array) => Uint8Array;
}

export class TestBench {
  core = instantiateCore();
  plant: Plant;
  readonly station: Station;
  readonly events: BenchEvent[] = [];
  readonly blocks: SampleBlock[] = [];
  readonly line: Line = { toStation: (b) => b, toBoard: (b) => b };
  readonly rig: Rig;
  /** Highest raw throttle per tick since the last look. */
  readonly throttles: { at_us: number; raw: number }[] = [];
  mainAlive = true;
  boardAlive = true;
  now_us = 0;
  /** Called once a slice, before its ticks. */
  each: () => void = () => undefined;
  toBoard: Uint8Array[] = [];

  constructor(options: { limits?: Partial<RigLimits>; rig?: Partial<Rig>; config?: Partial<StationConfig>; slice_us?: number } = {}) {
    this.rig = { ...RIG, ...options.rig, limits: { ...RIG.limits, ...options.limits } };
    this.slice_us = options.slice_us ?? 5000;
    this.powerOn(1);
    this.plant = new Plant(this.core, this.rig);
    this.station = new Station({
      rig: this.rig, article: ARTICLE, facts: channelFacts(this.rig),
      send: (bytes) => this.toBoard.push(bytes),
      onBlock: (block) => this.blocks.push(block),
      onEvent: (event) => this.events.push(event),
      ...options.config,
    });
  }
  private readonly slice_us: number;

  powerOn(cause: number): void {
    this.core.init(this.rig.tick_us, 77, cause);
    this.rig.channels.forEach((c, id) => {
      const exponent = Math.floor(Math.log10(c.gain)) - 6;
      this.core.declareChannel(id, KIND_ON_WIRE[c.kind], Math.round(c.gain / 10 ** exponent), exponent, c.zero, c.period_us);
    });
  }

  slice(): void {
    this.each();
    if (this.mainAlive) this.station.beat();
    const bytes = this.toBoard;
    this.toBoard = [];
    for (const b of bytes) if (this.boardAlive) this.core.receive(this.line.toBoard(b));
    for (let t = 0; t < this.slice_us; t += this.rig.tick_us) {
      this.now_us += this.rig.tick_us;
      if (!this.boardAlive) continue;
      this.plant.throttle = this.core.tick(this.rig.tick_us) / 10_000;
      this.throttles.push({ at_us: this.now_us, raw: this.plant.throttle * 10_000 });
      this.plant.step(this.rig.tick_us, this.now_us);
    }
    const out = this.core.view.slice(0, this.core.outLength());
    this.core.drop(out.length);
    this.station.hostTime(this.now_us);
    const heard = this.line.toStation(out);
    if (this.boardAlive && heard.length > 0) this.station.receive(heard);
  }

  run(seconds: number, until: () => boolean = () => false): boolean {
    const end = this.now_us + seconds * 1e6;
    while (this.now_us < end) {
      this.slice();
      if (until()) return true;
    }
    return false;
  }

  connect(): void {
    let error: Error | null | undefined;
    this.station.connect((e) => (error = e));
    this.run(5, () => error !== undefined);
    if (error !== null) throw error ?? new Error('no answer to connect');
    this.run(0.5);
  }

  /** Greets again, whatever comes of it. */
  connectAgain(): void {
    this.station.connect(() => undefined);
    this.run(2);
  }

  /** Takes over the board and drive of another bench, as they are: a new host on an old board. */
  adopt(other: TestBench): void {
    this.core = other.core;
    this.plant = other.plant;
    this.now_us = other.now_us;
  }

  arm(): Permit {
    let permit: Permit | undefined;
    this.station.arm((p) => (permit = p));
    this.run(2, () => permit !== undefined);
    if (permit === undefined) throw new Error('no answer to arm');
    return permit;
  }

  /** Connects, arms, feeds and starts; returns when the first segment plays. */
  start(segments: readonly Segment[], bound_s = 60): this {
    this.connect();
    return this.again(segments, bound_s);
  }

  again(segments: readonly Segment[], bound_s = 60): this {
    const permit = this.arm();
    if (!permit.granted) throw new Error(permit.reasons.join(' '));
    this.station.feed(numbered(segments));
    this.station.start(bound_s);
    const before = this.of('segment-started').length;
    this.run(1, () => this.of('segment-started').length > before);
    return this;
  }

  of<T extends BenchEvent['type']>(type: T): Extract<BenchEvent, { type: T }>[] {
    return this.events.filter((e): e is Extract<BenchEvent, { type: T }> => e.type === type);
  }

  get trips(): readonly Trip[] {
    return this.of('tripped').map((e) => e.trip);
  }

  get rows(): number {
    return this.blocks.reduce((n, b) => n + b.rows, 0);
  }
}

export function numbered(segments: readonly Segment[], from = 1, ends = true): NumberedSegment[] {
  return segments.map((segment, i) => ({ ordinal: from + i, segment, last: ends && i === segments.length - 1 }));
}

export const level = (throttle: number, duration_s: number, label = `level ${100 * throttle} %`): Segment => ({ kind: 'level', throttle, duration_s, label, role: 'level' });
export const rest = (duration_s: number): Segment => ({ kind: 'rest', duration_s, label: 'rest', role: 'rest' });
