import { maskBits } from "../combining/mask-bits.ts";
import type { Flat } from "../combining/normalise-flat.ts";
import { judgeFigure, type ProofFigure, partText } from "./proof-figure.ts";

/** What pixels are masked for, and what helps; of one with several bits the first counts. */
const causes = [
  {
    bit: maskBits.unlit,
    is: "not lit",
    whatToDo:
      "A disc smaller than the frame leaves its corners unlit out of focus or in a drift: take the flat by diffuser if the whole frame is needed.",
  },
  { bit: maskBits.clipped, is: "clipped", whatToDo: "Shorten the exposure and take the frames again." },
  {
    bit: maskBits.rejected,
    is: "left out of most frames",
    whatToDo: "Something moved while the frames were taken: take them again.",
  },
  {
    bit: maskBits.unhealthy,
    is: "hot, dead, unsteady or without a value",
    whatToDo: "Look at the frames, and at the dark that was taken off them.",
  },
] as const;

/** How many pixels of a master may be used, and why the others may not; counted piece by piece. */
export class TrustedCount {
  readonly #counts = causes.map(() => 0);
  #allPx = 0;

  /** @param value pixels that are not above zero can't be divided by; left out: any value will do */
  add(mask: Uint8Array, value?: Float32Array): void {
    this.#allPx += mask.length;
    for (let i = 0; i < mask.length; i++) {
      if (mask[i] === 0 && (value === undefined || value[i]! > 0)) continue;
      const cause = causes.findIndex(({ bit }) => (mask[i]! & bit) !== 0);
      this.#counts[cause < 0 ? causes.length - 1 : cause]!++;
    }
  }

  /** Masked for whatever reason. */
  get maskedPx(): number {
    return this.#counts.reduce((sum, count) => sum + count, 0);
  }

  /** For what part of the frame the master's figures speak, and why not for the rest. */
  judge(): ProofFigure {
    const figure = judgeFigure("trusted", this.#allPx === 0 ? 0 : 1 - this.maskedPx / this.#allPx);
    if (figure.verdict === "good") return figure;
    const masked = causes
      .map((cause, k) => ({ ...cause, count: this.#counts[k]! }))
      .filter(({ count }) => count > 0)
      .toSorted((a, b) => b.count - a.count);
    const rest = masked.map(({ is, count }) => `${partText(count / this.#allPx)} is ${is}`).join(", ");
    return { ...figure, whatToDo: `What is masked can't be divided: ${rest}. ${masked[0]?.whatToDo ?? ""}` };
  }
}

/** For what part of the frame a flat's figures speak, and why not for the rest. */
export function judgeTrusted({ gain, mask }: Pick<Flat, "gain" | "mask">): ProofFigure {
  const count = new TrustedCount();
  count.add(mask, gain);
  return count.judge();
}
