import { applyToFloat32, prepareFlat } from "../../imaging/combining/apply.ts";
import type { Flat } from "../../imaging/combining/normalise-flat.ts";
import { mapInto } from "../../imaging/numerics/map-into.ts";
import type { ReportPicture } from "../report-page.ts";
import { type LevelRange, percentileRange } from "../stretch.ts";
import { type Crop, crop } from "./crop.ts";
import type { MarkedShadow } from "./flat-picture.ts";
import { type FloatPicture, greyPng, shrink } from "./shrink.ts";

const shownWidthPx = 960;
/** Side of the detail, in diameters of the shadow: enough of its surroundings to see it by. */
const detailDiameters = 4;

export interface BeforeAfter {
  readonly before: ReportPicture;
  readonly after: ReportPicture;
  /** The surroundings of the deepest shadow on the Sun, before and after; absent when no shadow lies on it. */
  readonly detail?: readonly [before: ReportPicture, after: ReportPicture];
}

/**
 * One image as it came and the same divided by the flat, each pair in one and the same stretch so that the eye can compare.
 * The stretch spans the lit part only: what a flat mends is a few percent of it.
 */
export function beforeAfterPictures(input: {
  readonly imageAdu: Uint16Array;
  /** Taken off [adu]: a dark, or one level where exposures are too short for dark current. */
  readonly darkAdu: Float32Array | number;
  readonly flat: Flat;
  readonly dust: readonly (MarkedShadow & { readonly depth: number })[];
}): BeforeAfter {
  const { imageAdu, flat, dust } = input;
  const { widthPx, heightPx } = flat.shape;
  const darkAdu =
    typeof input.darkAdu === "number" ? new Float32Array(imageAdu.length).fill(input.darkAdu) : input.darkAdu;
  const raw: FloatPicture = {
    widthPx,
    heightPx,
    pixels: mapInto(new Float32Array(imageAdu.length), imageAdu, (v, i) => v - darkAdu[i]!),
  };
  const divided: FloatPicture = {
    widthPx,
    heightPx,
    pixels: applyToFloat32(imageAdu, prepareFlat(flat, { darkAdu })).imageAdu,
  };
  const range = litRange(divided.pixels);
  const pair = [shrink(raw, shownWidthPx), shrink(divided, shownWidthPx)].map((one) => greyPng(one, range));
  const greys = { black: `${range.black.toFixed(0)} adu`, white: `${range.white.toFixed(0)} adu` };
  const whole = {
    before: {
      title: "An image as it came",
      caption: "Its dark level taken off, nothing else.",
      png: pair[0]!,
      greys,
    },
    after: { title: "The same, divided by the flat", caption: "Same stretch.", png: pair[1]!, greys },
  };
  const shadow = deepestOnTheSun(divided, dust);
  if (!shadow) return whole;
  const window = { ...shadow, sidePx: Math.max(96, Math.round(shadow.diameterPx * detailDiameters)) };
  const details = [crop(raw, window), crop(divided, window)];
  const ring = ringAt(details[0]!, shadow);
  const detailRange = litRange(details[1]!.pixels);
  return {
    ...whole,
    detail: [
      {
        title: "Where the deepest shadow lies",
        caption: `Before: ${(100 * shadow.depth).toFixed(1)} % of the light is missing there.`,
        png: greyPng(details[0]!, detailRange),
        overlay: ring,
      },
      {
        title: "The same place",
        caption: "After the division, same stretch.",
        png: greyPng(details[1]!, detailRange),
        overlay: ring,
      },
    ],
  };
}

/** The shadow's outline, drawn thin so that the eye judges what lies inside it. */
function ringAt(detail: Crop, { xPx, yPx, diameterPx }: MarkedShadow): ReportPicture["overlay"] {
  const { widthPx, heightPx, leftPx, topPx } = detail;
  const at = `cx="${(xPx - leftPx + 0.5).toFixed(1)}" cy="${(yPx - topPx + 0.5).toFixed(1)}"`;
  const svg = `<circle ${at} r="${(diameterPx * 0.62).toFixed(1)}" fill="none" stroke="#ffc24d" stroke-width="${(widthPx / 300).toFixed(2)}" stroke-dasharray="3 3"/>`;
  return { widthPx, heightPx, svg };
}

/** From the darkest of what is clearly lit to nearly the brightest. */
function litRange(pixels: Float32Array): LevelRange {
  const all = percentileRange(pixels) ?? { black: 0, white: 1 };
  const lit = pixels.filter((value) => value > 0.3 * all.white);
  return percentileRange(lit, { blackFraction: 0.01, whiteFraction: 0.002 }) ?? all;
}

function deepestOnTheSun<Shadow extends MarkedShadow & { readonly depth: number }>(
  { widthPx, heightPx, pixels }: FloatPicture,
  dust: readonly Shadow[],
): Shadow | undefined {
  const bright = 0.6 * (percentileRange(pixels)?.white ?? 0);
  return [...dust]
    .sort((a, b) => b.depth - a.depth)
    .find(({ xPx, yPx }) => {
      const x = Math.min(widthPx - 1, Math.max(0, Math.round(xPx)));
      const y = Math.min(heightPx - 1, Math.max(0, Math.round(yPx)));
      return pixels[y * widthPx + x]! > bright;
    });
}
