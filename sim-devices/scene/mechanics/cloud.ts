import { Random } from "../../../drivers/kit/random.ts";
import { Wander } from "./wander.ts";

/**
 * How much light the clouds let through, over time. Thin cloud wanders smoothly between clear and its largest loss;
 * a bank of cloud can be drawn over it. A function of seed and time only.
 */
export class Cloud {
  readonly #loss: Wander;
  #bank: { fromMs: number; untilMs: number; transmission: number } | undefined;

  constructor(
    seed: number,
    readonly spec: { readonly lossMax: number; readonly periodSeconds: number },
  ) {
    this.#loss = new Wander(new Random(seed).fork("cloud"), spec.periodSeconds, (random) => random.uniform());
  }

  /** 1 is clear. */
  transparency(utcMs: number): number {
    const bank = this.#bank;
    const banked = bank && utcMs >= bank.fromMs && utcMs < bank.untilMs ? bank.transmission : 1;
    if (this.spec.lossMax === 0) return banked;
    return banked * (1 - this.spec.lossMax * this.#loss.at(utcMs));
  }

  /** Draws a bank of cloud over the Sun; 0 is opaque. */
  draw(bank: { fromMs: number; untilMs: number; transmission: number }): void {
    this.#bank = bank;
  }
}
