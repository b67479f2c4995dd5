const state = { free: 0, ours: 1, theirs: 2, done: 3 } as const;

/**
 * Who does which piece of one task, in memory that two threads share. One thread takes from the front, the other from the
 * back; a piece that the other could not do is free again.
 */
export class Pieces {
  /** @param states of the pieces, and behind them whether the other thread is to stop */
  constructor(readonly states: Int32Array) {}

  static of(count: number): Pieces {
    return new Pieces(new Int32Array(new SharedArrayBuffer(4 * (count + 1))));
  }

  take(): number | undefined {
    for (let piece = 0; piece < this.#count; piece++) if (this.#becomes(piece, "ours")) return piece;
    return undefined;
  }

  takeAsOther(): number | undefined {
    for (let piece = this.#count - 1; piece >= 0 && !this.isStopped; piece--)
      if (this.#becomes(piece, "theirs")) return piece;
    return undefined;
  }

  /** It is done, or free again; whoever waits for it wakes up. */
  settle(piece: number, to: "done" | "free"): void {
    Atomics.store(this.states, piece, state[to]);
    Atomics.notify(this.states, piece);
  }

  get areDone(): boolean {
    return this.states.subarray(0, this.#count).every((_, piece) => this.#is(piece, "done"));
  }

  /** A piece that the other thread is at. */
  get heldByOther(): number | undefined {
    for (let piece = 0; piece < this.#count; piece++) if (this.#is(piece, "theirs")) return piece;
    return undefined;
  }

  /** Until the other thread has settled the piece, but not for long. */
  waitFor(piece: number, millisecondsMost: number): void {
    Atomics.wait(this.states, piece, state.theirs, millisecondsMost);
  }

  /** The other thread is to take no more, and to give back what it has. */
  stop(): void {
    Atomics.store(this.states, this.#count, 1);
    // One that has just looked whether it is to stop must find none free.
    while (this.take() !== undefined);
  }

  get isStopped(): boolean {
    return Atomics.load(this.states, this.#count) === 1;
  }

  get #count(): number {
    return this.states.length - 1;
  }

  #is(piece: number, wanted: keyof typeof state): boolean {
    return Atomics.load(this.states, piece) === state[wanted];
  }

  #becomes(piece: number, taker: "ours" | "theirs"): boolean {
    return Atomics.compareExchange(this.states, piece, state.free, state[taker]) === state.free;
  }
}
