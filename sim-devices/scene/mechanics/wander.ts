import type { Random } from "../../../drivers/kit/random.ts";

/** A value that wanders smoothly over time, from one draw to the next. A function of the random's seed and time only. */
export class Wander {
  readonly #knots = new Map<number, number>();

  /** @param draw one knot's value; knots lie `periodSeconds` apart */
  constructor(
    readonly random: Random,
    readonly periodSeconds: number,
    readonly draw: (random: Random) => number,
  ) {}

  /** Of normal draws: mean 0, rms 1 over long times. */
  static normal(random: Random, periodSeconds: number): Wander {
    // Between knots the mean of two draws has a smaller variance: 26/35 on average over the cubic's way.
    return new Wander(random, periodSeconds, (drawn) => drawn.gauss() / Math.sqrt(26 / 35));
  }

  at(utcMs: number): number {
    const at = utcMs / 1000 / this.periodSeconds;
    const knot = Math.floor(at);
    const u = at - knot;
    const ease = u * u * (3 - 2 * u);
    return this.#knot(knot) * (1 - ease) + this.#knot(knot + 1) * ease;
  }

  #knot(index: number): number {
    let value = this.#knots.get(index);
    if (value === undefined) {
      if (this.#knots.size > 1000) this.#knots.clear(); // a long service must not grow; a knot can be drawn again
      value = this.draw(this.random.fork(String(index)));
      this.#knots.set(index, value);
    }
    return value;
  }
}
