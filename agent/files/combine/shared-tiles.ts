/**
 * What two threads share while they make tiles: who takes which is decided by one counter, so the quicker one makes
 * more; the helper's tiles wait in slots until the main thread has written them. Memory does not grow with the tiles.
 */
export const slotCount = 3;

/** Places in `control`. */
const place = { next: 0, helper: 1, stop: 2, change: 3, slots: 4 } as const;
export const helperStates = { notStarted: 0, running: 1, ended: 2, broken: 3, neverStart: 4 } as const;

export interface SharedBuffers {
  readonly control: Int32Array;
  /** Rejected values and masked pixels of each slot. */
  readonly counts: Float64Array;
  readonly value: Float32Array;
  readonly sigma: Float32Array;
  readonly mask: Uint8Array;
  readonly tilePx: number;
  readonly tileCount: number;
}

export function sharedBuffers(tilePx: number, tileCount: number): SharedBuffers {
  const shared = (bytes: number) => new SharedArrayBuffer(bytes);
  return {
    control: new Int32Array(shared(4 * (place.slots + 2 * slotCount))),
    counts: new Float64Array(shared(16 * slotCount)),
    value: new Float32Array(shared(4 * slotCount * tilePx)),
    sigma: new Float32Array(shared(4 * slotCount * tilePx)),
    mask: new Uint8Array(shared(slotCount * tilePx)),
    tilePx,
    tileCount,
  };
}

export class SharedTiles {
  constructor(readonly buffers: SharedBuffers) {}

  /** The next tile that nobody has taken. */
  take(): number | undefined {
    if (Atomics.load(this.buffers.control, place.stop) !== 0) return undefined;
    const tile = Atomics.add(this.buffers.control, place.next, 1);
    return tile < this.buffers.tileCount ? tile : undefined;
  }

  get helper(): number {
    return Atomics.load(this.buffers.control, place.helper);
  }

  /** Moves the helper on from one state; false if it was not in it. */
  helperBecomes(state: number, from: number): boolean {
    const was = Atomics.compareExchange(this.buffers.control, place.helper, from, state);
    this.#changed();
    return was === from;
  }

  stop(): void {
    Atomics.store(this.buffers.control, place.stop, 1);
    this.#changed();
  }

  /** An empty slot, waited for; `undefined` when told to stop. */
  emptySlot(): number | undefined {
    return this.#whenThere(() => {
      if (Atomics.load(this.buffers.control, place.stop) !== 0) return "none";
      return this.#slotWhere((tile) => tile === 0);
    });
  }

  /** Hands a tile over that was put into its slot. */
  fill(slot: number, tileIndex: number): void {
    Atomics.store(this.buffers.control, place.slots + slot, tileIndex + 1);
    this.#changed();
  }

  fullSlot(): { slot: number; tileIndex: number } | undefined {
    const slot = this.#slotWhere((tile) => tile > 0);
    return slot === undefined
      ? undefined
      : { slot, tileIndex: Atomics.load(this.buffers.control, place.slots + slot) - 1 };
  }

  /** The same, waited for until the helper makes no more. */
  lastFullSlots(): { slot: number; tileIndex: number } | undefined {
    return this.#whenThere(() => {
      const working = this.helper === helperStates.running;
      return this.fullSlot() ?? (working ? undefined : "none");
    });
  }

  empty(slot: number): void {
    Atomics.store(this.buffers.control, place.slots + slot, 0);
    this.#changed();
  }

  /** Until the helper touches nothing any more. */
  waitForHelper(): void {
    this.#whenThere(() => (this.helper === helperStates.running ? undefined : "none"));
  }

  #slotWhere(wanted: (tile: number) => boolean): number | undefined {
    for (let slot = 0; slot < slotCount; slot++)
      if (wanted(Atomics.load(this.buffers.control, place.slots + slot))) return slot;
    return undefined;
  }

  #whenThere<T>(look: () => T | "none" | undefined): T | undefined {
    for (;;) {
      const before = Atomics.load(this.buffers.control, place.change);
      const found = look();
      if (found !== undefined) return found === "none" ? undefined : found;
      Atomics.wait(this.buffers.control, place.change, before);
    }
  }

  #changed(): void {
    Atomics.add(this.buffers.control, place.change, 1);
    Atomics.notify(this.buffers.control, place.change);
  }
}
