import type { ShiftPx } from "../displaced/object-grid.ts";
import { binMean } from "../displaced/resample.ts";
import type { FftLibrary } from "../numerics/fft-library.ts";
import { fillInto } from "../numerics/map-into.ts";
import type { Shape } from "../numerics/shape.ts";
import { ShiftFinder } from "../registration/shift-finder.ts";
import { type DividedLook, onSunFraction } from "./divided-look.ts";

/** Larger frames are binned; what is left of an error is solved for afterwards. */
const sideMostPx = 1000;
/** Below this significance a shift is chance. */
const peakSigmaLeast = 7;
/** A shift this far from the expected one is chance too [px and fraction of the short side]. */
const unlikelyPx = 12;
const unlikelyFraction = 0.08;

/**
 * Shifts of the Sun against the first look, by its structure and limb between 1.5 and 12 px.
 * @param expected as commanded or measured, from the first look
 * @returns `undefined` for a look that could not be placed
 */
export function registerLooks(
  fft: FftLibrary,
  looks: readonly DividedLook[],
  shape: Shape,
  expected?: readonly ShiftPx[],
): (ShiftPx | undefined)[] {
  const side = Math.max(1, Math.ceil(Math.max(shape.widthPx, shape.heightPx) / sideMostPx));
  const binned = { widthPx: Math.floor(shape.widthPx / side), heightPx: Math.floor(shape.heightPx / side) };
  using finder = new ShiftFinder(fft, binned, { fineSigmaPx: 1.5, coarseSigmaPx: 12 });
  const spectrumOf = ({ picture }: DividedLook) => {
    const small =
      side === 1
        ? picture
        : cropped(binMean(picture, shape, side, ceilShape(shape, side)), shape, side, binned);
    return finder.spectrumOf(small.map((level) => (level > onSunFraction ? Math.log(level) : Number.NaN)));
  };
  const first = spectrumOf(looks[0]!);
  const tolerancePx = unlikelyPx + unlikelyFraction * Math.min(shape.widthPx, shape.heightPx);
  return looks.map((look, k) => {
    if (k === 0) return { x: 0, y: 0 };
    const found = finder.between(first, spectrumOf(look));
    if (found.peakSigma < peakSigmaLeast) return undefined;
    const shift = { x: side * found.x, y: side * found.y };
    const should = expected?.[k];
    return should && Math.hypot(shift.x - should.x, shift.y - should.y) > tolerancePx ? undefined : shift;
  });
}

function ceilShape({ widthPx, heightPx }: Shape, side: number): Shape {
  return { widthPx: Math.ceil(widthPx / side), heightPx: Math.ceil(heightPx / side) };
}

/** Whole blocks only. */
function cropped(picture: Float32Array, shape: Shape, side: number, to: Shape): Float32Array {
  const { widthPx } = ceilShape(shape, side);
  if (widthPx === to.widthPx) return picture.subarray(0, to.widthPx * to.heightPx);
  return fillInto(new Float32Array(to.widthPx * to.heightPx), (i) => {
    const y = Math.floor(i / to.widthPx);
    return picture[y * widthPx + (i - y * to.widthPx)]!;
  });
}
