// Frame sequence numbers: what got lost, came twice or came late.

export type Arrival = 'next' | 'gap' | 'duplicate' | 'late';

/** Follows the u16 sequence number that counts every frame of the board. */
export class SequenceGaps {
  /** Frames that never came (a late one is taken off again). */
  missing = 0;
  duplicates = 0;
  late = 0;
  private last = -1;

  /** Notes a frame's number: the next in turn, the next after a gap, the last one again, or one from before. */
  note(sequence: number): Arrival {
    if (this.last < 0) {
      this.last = sequence;
      return 'next';
    }
    const ahead = (sequence - this.last) & 0xffff;
    if (ahead === 1) {
      this.last = sequence;
      return 'next';
    }
    if (ahead === 0) {
      this.duplicates++;
      return 'duplicate';
    }
    if (ahead < 0x8000) {
      this.missing += ahead - 1;
      this.last = sequence;
      return 'gap';
    }
    this.late++;
    if (this.missing > 0) this.missing--;
    return 'late';
  }

  /** Forgets the last number, keeps the counts: the board restarted. */
  restart(): void {
    this.last = -1;
  }
}
