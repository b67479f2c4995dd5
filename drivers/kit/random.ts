/**
 * Seeded random numbers: small, fast, the same in every language.
 * `uniform` follows the widely used "mulberry32"; `gauss` is Box-Muller in pairs (cosine first),
 * so that published test data made from a seed can be made again here.
 */
export class Random {
  #state: number;
  #spare: number | undefined;

  constructor(readonly seed: number) {
    this.#state = seed >>> 0;
  }

  /** Uniform in [0, 1). */
  uniform(): number {
    this.#state = (this.#state + 0x6d2b79f5) >>> 0;
    let t = this.#state;
    t = Math.imul(t ^ (t >>> 15), t | 1);
    t = (t + Math.imul(t ^ (t >>> 7), t | 61)) ^ t;
    return ((t ^ (t >>> 14)) >>> 0) / 4294967296;
  }

  /** Normal with mean 0 and standard deviation 1. */
  gauss(): number {
    if (this.#spare !== undefined) {
      const spare = this.#spare;
      this.#spare = undefined;
      return spare;
    }
    const u1 = this.uniform();
    const u2 = this.uniform();
    const r = Math.sqrt(-2 * Math.log(1 - u1));
    this.#spare = r * Math.sin(2 * Math.PI * u2);
    return r * Math.cos(2 * Math.PI * u2);
  }

  /** Uniform in [low, high). */
  between(low: number, high: number): number {
    return low + (high - low) * this.uniform();
  }

  /** A whole number from `low` to `high`, both included. */
  whole(low: number, high: number): number {
    return low + Math.floor(this.uniform() * (high - low + 1));
  }

  pick<T>(choices: readonly T[]): T {
    return choices[Math.floor(this.uniform() * choices.length)]!;
  }

  /** A stream of its own for a named purpose: drawing more for one thing changes nothing for another. */
  fork(purpose: string): Random {
    let hash = this.seed ^ 0x811c9dc5; // FNV-1a over the name
    for (let i = 0; i < purpose.length; i++) hash = Math.imul(hash ^ purpose.charCodeAt(i), 0x01000193);
    return new Random(hash >>> 0);
  }
}
