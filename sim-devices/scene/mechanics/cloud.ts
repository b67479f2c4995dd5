import { Random } from "../../../drivers/kit/random.ts";

/**
 * How much light the clouds let through, over time. Thin cloud wanders smoothly between clear and its largest loss;
 * a bank of cloud can be drawn over it. A function of seed and time only.
 */
export class Cloud {
  readonly #random: Random;
  readonly #knots = new Map<number, number>();
  #bank: { fromMs: number; untilMs: number; transmission: number } | undefined;

  constructor(
    seed: number,
    readonly spec: { readonly lossMax: number; readonly periodSeconds: number },
  ) {
    this.#random = new Random(seed).fork("cloud");
  }

  /** 1 is clear. */
  transparency(utcMs: number): number {
    const bank = this.#bank;
    const banked = bank && utcMs >= bank.fromMs && utcMs < bank.untilMs ? bank.transmission : 1;
    if (this.spec.lossMax === 0) return banked;
    const at = utcMs / 1000 / this.spec.periodSeconds;
    const knot = Math.floor(at);
    const u = at - knot;
    const ease = u * u * (3 - 2 * u);
    const loss = this.#knot(knot) * (1 - ease) + this.#knot(knot + 1) * ease;
    return banked * (1 - this.spec.lossMax * loss);
  }

  /** Draws a bank of cloud over the Sun; 0 is opaque. */
  draw(bank: { fromMs: number; untilMs: number; transmission: number }): void {
    this.#bank = bank;
  }

  #knot(index: number): number {
    let value = this.#knots.get(index);
    if (value === undefined) {
      if (this.#knots.size > 1000) this.#knots.clear(); // a long service must not grow; a knot can be drawn again
      value = this.#random.fork(String(index)).uniform();
      this.#knots.set(index, value);
    }
    return value;
  }
}
