import type { FitsFileImage } from "../../../drivers/formats/fits-file.ts";
import type { FitsFileWriter } from "../../../drivers/formats/fits-file-writer.ts";
import type { CombinedTile } from "../../imaging/combining/combine.ts";
import { maskBits } from "../../imaging/combining/mask-bits.ts";
import { medianNoise } from "../../imaging/noise/median-noise.ts";
import { asInputError } from "../input-error.ts";
import type { ClipCounter } from "./clip-counter.ts";
import type { FigureSample } from "./figure-sample.ts";

/** A master dark, with its noise and mask where it has them. */
export interface DarkParts {
  readonly image: FitsFileImage;
  readonly sigma: FitsFileImage | undefined;
  readonly mask: FitsFileImage | undefined;
}

/** Turns combined tiles into the three parts of a master: value, sigma and mask, the dark taken off. */
export class MasterTiles {
  maskedPx = 0;

  constructor(
    readonly writer: FitsFileWriter,
    readonly parts: {
      readonly frameCount: number;
      readonly method: "mean" | "clipped" | "median";
      readonly dark: DarkParts | undefined;
      readonly clips: ClipCounter;
      readonly figures: FigureSample;
    },
  ) {}

  write(tile: CombinedTile): void {
    const { frameCount, method, clips, figures, dark } = this.parts;
    const { startPx } = tile;
    const length = tile.value.length;
    const value = new Float32Array(length);
    const sigma = new Float32Array(length);
    const mask = clips.takeMask(length);
    const darkValue = reals(dark?.image, startPx, length);
    const darkSigma = reals(dark?.sigma, startPx, length);
    const darkMask = reals(dark?.mask, startPx, length);
    for (let i = 0; i < length; i++) {
      const kept = tile.keptCount[i]!;
      value[i] = tile.value[i]! - darkValue[i]!;
      const own = tile.sigmaOfMean[i]! * (method === "median" ? medianNoise(kept) : 1);
      // One value tells nothing of its scatter.
      sigma[i] = kept < 2 ? Number.NaN : Math.hypot(own, darkSigma[i]!);
      mask[i]! |= darkMask[i]!;
      if (kept === 0) mask[i]! |= maskBits.unhealthy;
      else if (2 * kept < frameCount) mask[i]! |= maskBits.rejected;
      if (mask[i] !== 0) this.maskedPx++;
    }
    figures.add(startPx, { value, sigma, mask });
    try {
      for (const [hduIndex, pixels] of [value, sigma, mask].entries()) {
        this.writer.writePixels(hduIndex, startPx, pixels);
      }
    } catch (error) {
      throw asInputError(error, this.writer.path);
    }
  }
}

/** In one array type, so that the loop above stays fast; zeros where there is nothing. */
function reals(image: FitsFileImage | undefined, startPx: number, length: number): Float64Array {
  return image === undefined ? new Float64Array(length) : new Float64Array(image.readPixels(startPx, length));
}
