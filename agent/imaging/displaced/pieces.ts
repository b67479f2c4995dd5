/** Places in `states`; pieces follow. */
const place = { stop: 0, change: 1, pieces: 2 } as const;
const state = { free: 0, ours: 1, helpers: 2, done: 3 } as const;

/**
 * Who does which piece of one task, in memory that two threads share. This thread takes from the front and the helper from
 * the back; a piece that the helper could not do is free again.
 */
export class Pieces {
  constructor(readonly states: Int32Array) {}

  static of(count: number): Pieces {
    return new Pieces(new Int32Array(new SharedArrayBuffer(4 * (place.pieces + count))));
  }

  take(): number | undefined {
    for (let k = place.pieces; k < this.states.length; k++)
      if (this.#becomes(k, state.ours, state.free)) return k - place.pieces;
    return undefined;
  }

  takeAsHelper(): number | undefined {
    for (let k = this.states.length - 1; k >= place.pieces && !this.isStopped; k--)
      if (this.#becomes(k, state.helpers, state.free)) return k - place.pieces;
    return undefined;
  }

  done(piece: number): void {
    this.#set(piece, state.done);
  }

  giveBack(piece: number): void {
    this.#set(piece, state.free);
  }

  /** What a helper held that is no more. */
  giveBackHelpers(): void {
    for (let k = place.pieces; k < this.states.length; k++) this.#becomes(k, state.free, state.helpers);
  }

  get areDone(): boolean {
    return this.states.subarray(place.pieces).every((_, k) => this.#is(k, state.done));
  }

  get helperHasOne(): boolean {
    return this.states.subarray(place.pieces).some((_, k) => this.#is(k, state.helpers));
  }

  /** The helper is to take no more, and to give back what it has. */
  stop(): void {
    Atomics.store(this.states, place.stop, 1);
    // One that has just looked whether it is to stop must find none free.
    for (let k = place.pieces; k < this.states.length; k++) this.#becomes(k, state.ours, state.free);
  }

  get isStopped(): boolean {
    return Atomics.load(this.states, place.stop) !== 0;
  }

  /** Until the helper has done or given back something, but not for long. */
  waitForHelper(millisecondsMost: number): void {
    const before = Atomics.load(this.states, place.change);
    if (this.helperHasOne) Atomics.wait(this.states, place.change, before, millisecondsMost);
  }

  #is(piece: number, wanted: number): boolean {
    return Atomics.load(this.states, place.pieces + piece) === wanted;
  }

  #becomes(k: number, to: number, from: number): boolean {
    return Atomics.compareExchange(this.states, k, from, to) === from;
  }

  #set(piece: number, to: number): void {
    Atomics.store(this.states, place.pieces + piece, to);
    Atomics.add(this.states, place.change, 1);
    Atomics.notify(this.states, place.change);
  }
}
