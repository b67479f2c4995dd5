import type { Flat } from "../../imaging/combining/normalise-flat.ts";
import { mapInto } from "../../imaging/numerics/map-into.ts";
import { median } from "../../imaging/numerics/order-statistics.ts";
import type { ReportPicture } from "../report-page.ts";
import { percentileRange } from "../stretch.ts";
import { greyPng, shrink } from "./shrink.ts";

const shownWidthPx = 640;
/** Blocks of what is left: as much as an eye joins. */
const leftoverWidthPx = 160;

const percentText = (fraction: number) => `${Number((100 * fraction).toPrecision(2))} %`;

/**
 * What a flat leaves in a frame of even light: the frame divided by it, in blocks, about its mean.
 * @param frameAdu above its dark
 * @returns `undefined` where nothing is lit
 */
export function leftoverPicture(flat: Flat, frameAdu: Float32Array): ReportPicture | undefined {
  const { widthPx, heightPx } = flat.shape;
  const divided = frameAdu.map((value, i) => value / flat.gain[i]!);
  const blocks = shrink({ widthPx, heightPx, pixels: divided }, leftoverWidthPx, flat.mask);
  const level = median(Array.from(blocks.pixels).filter(Number.isFinite));
  if (level === undefined || !(level > 0)) return undefined;
  const pixels = blocks.pixels.map((value) => value / level - 1);
  const spread = Math.max(2e-4, ...[...pixels].filter(Number.isFinite).map(Math.abs));
  const range = percentileRange(pixels) ?? { black: -spread, white: spread };
  const reach = Math.max(Math.abs(range.black), Math.abs(range.white), 2e-4);
  const block = Math.ceil(widthPx / leftoverWidthPx);
  return {
    title: "What is left after the division",
    caption: `One frame of even light divided by the flat, in blocks of ${block} px: grey is none.`,
    png: greyPng({ ...blocks, pixels }, { black: -reach, white: reach }),
    greys: { black: `−${percentText(reach)}`, white: `+${percentText(reach)}` },
  };
}

/** One sigma of each pixel, a share of the level. */
export function sigmaPicture({ shape, gain, sigma, mask }: Flat): ReportPicture | undefined {
  const relative = sigma.map((value, i) => value / gain[i]!);
  const small = shrink({ ...shape, pixels: relative }, shownWidthPx, mask);
  const range = percentileRange(small.pixels);
  if (range === undefined || !(range.white > 0)) return undefined;
  return {
    title: "One sigma of the flat",
    caption: "Bright where the flat is least sure.",
    png: greyPng(small, { black: 0, white: range.white }),
    greys: { black: "0 %", white: percentText(range.white) },
  };
}

/** Pixels that are not to be trusted, white; `undefined` where there are none. */
export function maskPicture({ shape, mask }: Pick<Flat, "shape" | "mask">): ReportPicture | undefined {
  const masked = mask.reduce((count, bits) => count + (bits === 0 ? 0 : 1), 0);
  if (masked === 0) return undefined;
  const flags = mapInto(new Float32Array(mask.length), mask, (bits) => (bits === 0 ? 0 : 1));
  // A single pixel in a block is seen all the same.
  const small = shrink({ ...shape, pixels: flags }, shownWidthPx);
  return {
    title: "Pixels not to be trusted",
    caption: `${masked} of ${mask.length} are masked, ${percentText(masked / mask.length)}: white here.`,
    png: greyPng(
      { ...small, pixels: small.pixels.map((share) => (share > 0 ? 1 : 0)) },
      { black: 0, white: 1 },
    ),
  };
}
