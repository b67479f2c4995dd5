import { applyToFloat32, prepareFlat } from "../../imaging/apply.ts";
import type { Flat } from "../../imaging/normalise-flat.ts";
import { encodePng } from "../png.ts";
import type { ReportPicture } from "../report-page.ts";
import { percentileRange, toGrey } from "../stretch.ts";
import { shrink } from "./shrink.ts";

const shownWidthPx = 960;

/** One image as it came and the same divided by the flat, in one and the same stretch so that the eye can compare. */
export function beforeAfterPictures(input: {
  readonly imageAdu: Uint16Array;
  readonly darkAdu?: Float32Array;
  /** Taken off where there is no dark of the same exposure [adu]. */
  readonly pedestalAdu: number;
  readonly flat: Flat;
}): readonly [before: ReportPicture, after: ReportPicture] {
  const { imageAdu, flat, pedestalAdu } = input;
  const { widthPx, heightPx } = flat.shape;
  const darkAdu = input.darkAdu ?? new Float32Array(imageAdu.length).fill(pedestalAdu);
  const raw = Float32Array.from(imageAdu, (value, i) => value - darkAdu[i]!);
  const { imageAdu: divided } = applyToFloat32(imageAdu, prepareFlat(flat), { darkAdu });
  const small = [raw, divided].map((pixels) => shrink({ widthPx, heightPx, pixels }, shownWidthPx));
  const range = percentileRange(small[1]!.pixels, { blackFraction: 0.02, whiteFraction: 0.0005 }) ?? {
    black: 0,
    white: 1,
  };
  const png = small.map((picture) =>
    encodePng({
      widthPx: picture.widthPx,
      heightPx: picture.heightPx,
      bytes: toGrey(picture.pixels, { black: 0, white: range.white }),
    }),
  );
  return [
    { title: "An image as it came", caption: "Dark taken off, nothing else.", png: png[0]! },
    { title: "The same, divided by the flat", caption: "Same stretch.", png: png[1]! },
  ];
}
