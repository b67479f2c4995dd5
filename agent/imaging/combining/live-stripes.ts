import { type NoiseByLevel, tabulateVariance } from "../noise/noise-by-level.ts";
import type { LiveFrame } from "./first-frames.ts";
import { referenceFrames } from "./frame-selection.ts";
import { framesAtOnce, type LiveSums, makeLiveSums } from "./live-sums.ts";

/** A frame is worked off in so many pieces, as many as frames go through the sums at once: then each frame costs the same. */
const stripesMost = framesAtOnce;
/** Smaller pieces are not worth their while. */
const stripePxLeast = 65_536;

export interface StripeOptions {
  readonly pxCount: number;
  /** A sample at or above this is clipped [adu, raw]. */
  readonly clipAdu: number;
  readonly darkAdu: Float32Array | undefined;
}

/**
 * The sums of a live series, stripe by stripe: with each frame that comes one stripe takes in all that it has not seen
 * yet, so that no frame waits for the work of many. The first twelve frames give each stripe median and spread per pixel;
 * a sample enters if it lies within 3.2 sigma of the median, sigma from the noise that pixels of its level show.
 */
export class LiveStripes {
  readonly #options: StripeOptions;
  readonly #sums: LiveSums;
  readonly #stripePx: number;
  /** Frames that each stripe has taken in; none: its reference is not made. */
  readonly #taken: number[];
  /** What pixels of a level show in one frame, as a table. */
  #sigmas: ReturnType<typeof tabulateVariance> | undefined;
  /** Those that some stripe has not taken in yet. */
  readonly #frames: LiveFrame[] = [];
  /** How many there were before these. */
  #before = 0;
  #turns = 0;

  constructor(options: StripeOptions) {
    this.#options = options;
    this.#sums = makeLiveSums(options.pxCount, options.darkAdu !== undefined);
    const stripes = Math.max(1, Math.min(stripesMost, Math.floor(options.pxCount / stripePxLeast)));
    this.#stripePx = Math.ceil(options.pxCount / stripes / 8) * 8;
    this.#taken = new Array<number>(stripes).fill(0);
  }

  /**
   * The sums' share of one of the first frames: memory that is touched for the first time costs as much as using it. The
   * last of them has enough to do.
   */
  prepare(frameIndex: number): void {
    const share = Math.ceil(this.#options.pxCount / (referenceFrames - 1));
    const { dark, reference, limit, sum, squares } = this.#sums;
    for (const values of [dark, reference, limit, sum, squares])
      values?.fill(0, frameIndex * share, (frameIndex + 1) * share);
  }

  /** Before the first frame. @param noise of a pixel in one frame */
  begin(noise: NoiseByLevel): void {
    this.#sigmas ??= tabulateSigmas(noise);
  }

  /** @returns frames that are not looked at any more */
  add(frame: LiveFrame): Uint16Array[] {
    this.#frames.push(frame);
    if (this.#before + this.#frames.length <= referenceFrames) return [];
    this.#turn(this.#turns++ % this.#taken.length);
    const seenByAll = Math.min(...this.#taken) - this.#before;
    this.#before += seenByAll;
    return this.#frames.splice(0, seenByAll).map(({ pixels }) => pixels);
  }

  /** Everything in the sums. */
  finish(): LiveSums {
    for (let stripe = 0; stripe < this.#taken.length; stripe++) while (!this.#turn(stripe));
    this.#before += this.#frames.length;
    this.#frames.length = 0;
    return this.#sums;
  }

  /** @returns whether the stripe has taken in all there is: with its reference to make it stops after some frames */
  #turn(stripe: number): boolean {
    const fromPx = stripe * this.#stripePx;
    const toPx = Math.min(fromPx + this.#stripePx, this.#options.pxCount);
    const total = this.#before + this.#frames.length;
    let taken = this.#taken[stripe]!;
    if (taken === 0) taken = this.#begin(fromPx, toPx);
    else
      for (let pass = 0; pass < 2 && taken < total; pass++) {
        const some = this.#frames.slice(taken - this.#before, taken - this.#before + framesAtOnce);
        this.#sums.add(some, this.#options.clipAdu, fromPx, toPx);
        taken += some.length;
      }
    this.#taken[stripe] = taken;
    return taken === total;
  }

  /** @returns frames taken in */
  #begin(fromPx: number, toPx: number): number {
    const { darkAdu, clipAdu } = this.#options;
    if (darkAdu) this.#sums.dark!.set(darkAdu.subarray(fromPx, toPx), fromPx);
    const first = this.#frames.slice(0, referenceFrames);
    this.#sums.begin(first, clipAdu, this.#sigmas!, fromPx, toPx);
    return first.length;
  }
}

/** What pixels of a level show in one frame, as a table of sigmas. */
export function tabulateSigmas(noise: NoiseByLevel): ReturnType<typeof tabulateVariance> {
  const table = tabulateVariance(noise);
  return { ...table, variances: table.variances.map((variance) => Math.sqrt(variance)) };
}
