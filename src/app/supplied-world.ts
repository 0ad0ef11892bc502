// A bench together with a supply that a program sets. Off is a property of the bench: the output goes off after every trip
// once the motor stands still, at once when nothing shows that it does, and however the program ends.
import type { Subscription } from 'rxjs';
import { atExit } from '../host/at-exit';
import { SupplyError } from '../host/scpi/errors';
import type { BenchEvent } from '../model/events';
import { BadInput } from './errors';
import type { SupplyPort, SupplyReading } from './supply-port';
import type { Readings, World } from './world';

/** A supply with all that a bench wants of it. */
export interface BenchSupply extends SupplyPort {
  /** Who it is, for people. */
  readonly title: string;
  measure(): Promise<SupplyReading>;
  /** Output off at once, without waiting for anything. */
  cut(): void;
}

export interface SuppliedWorldInput {
  readonly inner: World;
  /** Lets go of the inner world; resolves when nothing turns any more. */
  readonly closeInner: () => Promise<void>;
  /** Opens the supply at this voltage, output off. @throws SupplyError */
  readonly open: (volts: number) => Promise<BenchSupply>;
  /** Voltage that the inner world takes for granted at its start. */
  readonly start_V: number;
  readonly settle_s: number;
  readonly note?: (text: string) => void;
}

export class SuppliedWorld implements World {
  readonly clock: World['clock'];
  readonly blocks: World['blocks'];
  readonly bench: World['bench'];
  private readonly inner: World;
  private supply: BenchSupply | null = null;
  private tripped = false;
  /** Switched off because of a trip, and not for anybody's hands. */
  private offByTrip = false;
  /** What the supply has still to do before time goes on. */
  private due: (() => Promise<void>) | null = null;
  private readonly listening: Subscription;
  private unlisten: (() => void) | null = null;
  private closing: Promise<void> | null = null;

  constructor(private readonly input: SuppliedWorldInput) {
    const { inner } = input;
    this.inner = inner;
    this.clock = inner.clock;
    this.blocks = inner.blocks;
    this.bench = inner.bench;
    this.listening = inner.bench.events.subscribe((event) => { this.watch(event); });
  }

  /** The first time: opens the supply and switches it on. */
  async connect(): Promise<void> {
    if (this.supply === null) {
      try {
        const supply = await this.input.open(this.input.start_V);
        this.supply = supply;
        this.unlisten = atExit(() => { supply.cut(); });
        this.input.note?.(`Supply: ${supply.title}.`);
        await supply.output(true);
      } catch (error) {
        if (error instanceof SupplyError) throw new BadInput([error.message], { cause: error });
        throw error;
      }
    }
    await this.inner.connect();
  }

  async setSupply(volts: number): Promise<void> {
    await this.ready().setVoltage(volts);
    await this.inner.setSupply(volts);
  }

  /** What the supply's own meters say. */
  async supplyReading(): Promise<SupplyReading> {
    return await this.ready().measure();
  }

  async outputOff(): Promise<boolean> {
    this.due = null;
    if (this.supply === null) return true;
    await this.supply.output(false);
    this.offByTrip = false;
    await this.settle();
    return true;
  }

  async outputOn(): Promise<boolean> {
    await this.ready().output(true);
    this.offByTrip = false;
    await this.settle();
    return true;
  }

  async playUntil(done: () => boolean, within_s = Infinity): Promise<boolean> {
    const end_us = this.clock.now_us() + within_s * 1e6;
    for (;;) {
      const left_s = Math.max(0, (end_us - this.clock.now_us()) / 1e6);
      const ended = await this.inner.playUntil(() => this.due !== null || done(), left_s);
      if (this.due === null) return ended;
      await this.doDue();
      if (done()) return true;
    }
  }

  /** The output that a trip switched off comes on again first: a condition that asks for voltage could never end without it. */
  async clearTrip(why: string): Promise<readonly string[]> {
    await this.doDue();
    if (this.offByTrip) await this.outputOn();
    const reasons = await this.inner.clearTrip(why);
    if (reasons.length === 0) this.tripped = false;
    return reasons;
  }

  close(): void {
    void this.closed();
  }

  /** As {@link close}; resolves when the output is off and the supply let go, however often it is called. */
  closed(): Promise<void> {
    return (this.closing ??= this.letGo());
  }

  private async letGo(): Promise<void> {
    this.listening.unsubscribe();
    this.due = null;
    await this.input.closeInner();
    await this.supply?.close();
    this.unlisten?.();
    this.unlisten = null;
  }

  // ---- as the inner world does them ---------------------------------------------------------------------------------

  readings(): Readings {
    return this.inner.readings();
  }

  beginRun(): void {
    this.inner.beginRun();
  }

  endRun(): void {
    this.inner.endRun();
  }

  setPropeller(on: boolean): Promise<void> {
    return this.inner.setPropeller(on);
  }

  setParameter(name: string, value: number): void {
    this.inner.setParameter(name, value);
  }

  follow(name: string, value: number | null): void {
    this.inner.follow(name, value);
  }

  remount(mounting: number): Promise<void> {
    return this.inner.remount(mounting);
  }

  mute(on: boolean): boolean {
    return this.inner.mute(on);
  }

  pressStop(pressed: boolean): boolean {
    return this.inner.pressStop(pressed);
  }

  // ---- off ----------------------------------------------------------------------------------------------------------

  private watch(event: BenchEvent): void {
    if (event.type === 'tripped') this.tripped = true;
    if (event.type !== 'stopped') return;
    if (!event.confirmed) this.supply?.cut();
    if (event.confirmed && !this.tripped) return;
    const why = event.confirmed ? 'after the trip' : 'because nothing shows that the motor stands still';
    this.due = async () => {
      try {
        await this.supply?.output(false);
        this.offByTrip = true;
        this.input.note?.(`The supply's output was switched off ${why}.`);
      } catch (error) {
        this.input.note?.(`The supply's output could not be switched off ${why}: ${error instanceof Error ? error.message : String(error)} Cut the power by hand.`);
      }
    };
  }

  private async doDue(): Promise<void> {
    const { due } = this;
    this.due = null;
    await due?.();
  }

  private ready(): BenchSupply {
    if (this.supply === null) throw new Error('the supply is used before the bench was connected');
    return this.supply;
  }

  private async settle(): Promise<void> {
    await this.inner.playUntil(() => false, this.input.settle_s);
  }
}
