// Who was heard when: the main process, the board, and this process itself. Ages on both clocks; the greater one counts.
import type { TripCode } from '../model/trip';
import { HEARTBEAT_MAX_US, heartbeatText } from '../safety/permit';
import { showTime } from '../safety/row';

/** While nothing runs rows come every 100 ms; after this much silence the link is lost. */
const RESTING_SILENCE_US = 500_000;

export interface Silence {
  readonly code: Extract<TripCode, 'HOST_STALLED' | 'LINK_LOST'>;
  /** What is wrong, or null when it is well again. */
  readonly detail: string | null;
}

const NONE: readonly Silence[] = [];

export class Liveness {
  private host_us = -1;
  private device_us = -1;
  private beatHost_us = -1;
  private beatDevice_us = -1;
  private heard_us = -1;
  private beaten = false;
  private lost = false;
  private stalled = false;

  /** `silence_us`: the rig's host_silence, for pauses of this process; `link_us`: silence of an armed board that is too long. */
  constructor(
    private readonly silence_us: number,
    private readonly link_us = silence_us,
  ) {}

  get now_us(): number {
    return this.host_us;
  }

  beat(): void {
    this.beaten = true;
    this.beatHost_us = this.host_us;
    this.beatDevice_us = this.device_us;
  }

  /** Bytes came from the board. */
  heard(): void {
    this.heard_us = this.host_us;
  }

  row(tick_us: number): void {
    this.device_us = tick_us;
  }

  /** Age of the main process's last sign of life, µs; Infinity when there was none. */
  beatAge_us(): number {
    if (!this.beaten) return Infinity;
    const host = this.beatHost_us < 0 ? 0 : this.host_us - this.beatHost_us;
    const device = this.beatDevice_us < 0 ? 0 : this.device_us - this.beatDevice_us;
    return Math.max(host, device, 0);
  }

  /**
   * The host's time now. Returns what fell silent or is heard again since the last call.
   * `armed`: the board is ready or driving; `connected`: rows are expected at all.
   */
  time(now_us: number, armed: boolean, connected: boolean): Silence[] {
    const pause_us = this.host_us < 0 ? 0 : now_us - this.host_us;
    this.host_us = now_us;
    if (this.heard_us < 0) this.heard_us = now_us;
    const changes = [...this.beats(armed, pause_us)];
    const silent_us = now_us - this.heard_us;
    // A pause of this process is no silence of the board: what came meanwhile is read next.
    const most_us = (armed ? this.link_us : RESTING_SILENCE_US) + pause_us;
    const lost = connected && silent_us > most_us;
    if (lost !== this.lost) {
      this.lost = lost;
      changes.push({ code: 'LINK_LOST', detail: lost ? `Nothing came from the board for ${showTime(silent_us)} (limit ${showTime(most_us)}). Check its power, cable and port.` : null });
    }
    return changes;
  }

  /** Checks the main process and this one; called also on device time, by rows. */
  beats(armed: boolean, pause_us = 0): readonly Silence[] {
    const age_us = this.beatAge_us();
    const paused = pause_us > this.silence_us;
    const stalled = armed && (age_us > HEARTBEAT_MAX_US || paused);
    if (stalled === this.stalled) return NONE;
    this.stalled = stalled;
    const detail = paused ? `This process paused for ${showTime(pause_us)} (limit ${showTime(this.silence_us)}).` : heartbeatText(age_us);
    return [{ code: 'HOST_STALLED', detail: stalled ? detail : null }];
  }
}
