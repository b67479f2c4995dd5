import { gaussTable, TAIL_START } from "./ziggurat-table.ts";

/**
 * The noise of one frame: a fast stream of random numbers that depends on the seed and the frame number only.
 *
 * Bits: xoshiro128++ (Blackman & Vigna, ACM Trans. Math. Softw. 47 (2021) 36).
 * Normal numbers: ziggurat of 128 layers (Marsaglia & Tsang, J. Stat. Softw. 5 (2000) 8), with the layer and the
 * abscissa taken from different bits, as Doornik (2005) showed to be needed.
 */
export class FrameNoise {
  #a = 1;
  #b = 2;
  #c = 3;
  #d = 4;

  constructor(seed: number, frameNumber: number, stream = 0) {
    const mix = splitMix(
      (seed ^ Math.imul(frameNumber | 0, 0x9e3779b1) ^ Math.imul(stream + 1, 0x85ebca6b)) | 0,
    );
    mix(); // neighbouring frame numbers part company here
    this.#a = mix() ^ (seed | 0);
    this.#b = mix() ^ (frameNumber | 0);
    this.#c = mix();
    this.#d = mix() | 1; // never all zero
    for (let i = 0; i < 12; i++) this.bits();
  }

  /** 32 random bits, as a signed integer. */
  bits(): number {
    const a = this.#a;
    const sum = (a + this.#d) | 0;
    const result = (((sum << 7) | (sum >>> 25)) + a) | 0;
    const t = this.#b << 9;
    const c = this.#c ^ a;
    const d = this.#d ^ this.#b;
    this.#b ^= c;
    this.#a = a ^ d;
    this.#c = c ^ t;
    this.#d = (d << 11) | (d >>> 21);
    return result;
  }

  /** Uniform in (0, 1), never an end. */
  uniform(): number {
    return ((this.bits() >>> 0) + 0.5) / 4294967296;
  }

  /** Normal with mean 0 and standard deviation 1. */
  gauss(): number {
    return this.#gaussFrom(this.bits());
  }

  /** The first `count` elements become normal numbers. Same numbers as `gauss` gives one by one. */
  fillGauss(out: Float32Array, count: number): void {
    const { edge, ratio } = gaussTable;
    for (let i = 0; i < count; i++) {
      const word = this.bits();
      const u = ((word >> 7) + 0.5) * 5.9604644775390625e-8; // 25 signed bits over 2^24
      const layer = word & 127;
      if (Math.abs(u) < ratio[layer]!) out[i] = u * edge[layer]!;
      else out[i] = this.#gaussFrom(word);
    }
  }

  /** A Poisson count: exact by inversion. For means up to about 50; time grows with the mean. */
  poisson(mean: number): number {
    let u = this.uniform();
    if (u < 1 - mean) return 0; // e^-mean ≥ 1 - mean: no exponential for the many dark pixels
    let p = Math.exp(-mean);
    let count = 0;
    while (u > p && count < 400) {
      u -= p;
      count++;
      p *= mean / count;
    }
    return count;
  }

  #gaussFrom(first: number): number {
    const { edge, ratio } = gaussTable;
    for (let word = first; ; word = this.bits()) {
      const u = ((word >> 7) + 0.5) * 5.9604644775390625e-8;
      const layer = word & 127;
      if (Math.abs(u) < ratio[layer]!) return u * edge[layer]!;
      if (layer === 0) return this.#tail(u < 0);
      const x = u * edge[layer]!;
      const high = Math.exp(-0.5 * (edge[layer]! * edge[layer]! - x * x));
      const low = Math.exp(-0.5 * (edge[layer + 1]! * edge[layer + 1]! - x * x));
      if (low + this.uniform() * (high - low) < 1) return x;
    }
  }

  /** Beyond the outermost layer (Marsaglia 1964). */
  #tail(negative: boolean): number {
    for (;;) {
      const x = Math.log(this.uniform()) / TAIL_START;
      const y = Math.log(this.uniform());
      if (-2 * y >= x * x) return negative ? x - TAIL_START : TAIL_START - x;
    }
  }
}

/** Finaliser of Murmur hash over a Weyl sequence: turns any two nearby seeds into unlike words. */
function splitMix(seed: number): () => number {
  let state = seed | 0;
  return () => {
    state = (state + 0x9e3779b9) | 0;
    let z = state;
    z = Math.imul(z ^ (z >>> 16), 0x85ebca6b);
    z = Math.imul(z ^ (z >>> 13), 0xc2b2ae35);
    return z ^ (z >>> 16);
  };
}
