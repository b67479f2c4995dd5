/** Places in `states`; pieces follow. */
const place = { stop: 0, change: 1, next: 2, done: 3, pieces: 4 } as const;
const state = { free: 0, ours: 1, helpers: 2, done: 3 } as const;

/**
 * Who does which piece of one task, in memory that two threads share: whoever is free takes the next one. A piece that the
 * other thread could not do is free again.
 */
export class Pieces {
  constructor(readonly states: Int32Array) {}

  static of(count: number): Pieces {
    return new Pieces(new Int32Array(new SharedArrayBuffer(4 * (place.pieces + count))));
  }

  take(): number | undefined {
    return this.#takeNext(state.ours) ?? this.#takeGivenBack();
  }

  takeAsHelper(): number | undefined {
    return this.isStopped ? undefined : this.#takeNext(state.helpers);
  }

  done(piece: number): void {
    const was = Atomics.exchange(this.states, place.pieces + piece, state.done);
    if (was !== state.done) Atomics.add(this.states, place.done, 1);
    this.#changed();
  }

  giveBack(piece: number): void {
    Atomics.store(this.states, place.pieces + piece, state.free);
    this.#changed();
  }

  /** What a helper held that is no more. */
  giveBackHelpers(): void {
    for (let k = place.pieces; k < this.states.length; k++) this.#becomes(k, state.free, state.helpers);
  }

  get areDone(): boolean {
    return Atomics.load(this.states, place.done) === this.states.length - place.pieces;
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

  #takeNext(taker: number): number | undefined {
    for (;;) {
      const k = place.pieces + Atomics.add(this.states, place.next, 1);
      if (k >= this.states.length) return undefined;
      if (this.#becomes(k, taker, state.free)) return k - place.pieces;
    }
  }

  #takeGivenBack(): number | undefined {
    for (let k = place.pieces; k < this.states.length; k++)
      if (this.#becomes(k, state.ours, state.free)) return k - place.pieces;
    return undefined;
  }

  #is(piece: number, wanted: number): boolean {
    return Atomics.load(this.states, place.pieces + piece) === wanted;
  }

  #becomes(k: number, to: number, from: number): boolean {
    return Atomics.compareExchange(this.states, k, from, to) === from;
  }

  #changed(): void {
    Atomics.add(this.states, place.change, 1);
    Atomics.notify(this.states, place.change);
  }
}
