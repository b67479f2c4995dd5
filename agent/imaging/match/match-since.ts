import type { FftLibrary } from "../numerics/fft-library.ts";
import { ShiftFinder } from "../registration/shift-finder.ts";
import { hasMoved, isInPlace } from "./match-train.ts";
import { commonMove, type KnownShadow, shadowMoves } from "./shadow-moves.ts";
import { coarseSigmaPx, fineSigmaPx, type SmallStructure } from "./small-structure.ts";
import { chanceShiftPx, differencePair, sampleBilinear, structurePair } from "./structure-pair.ts";
import { type TrainMove, trainMove } from "./train-move.ts";

/** What two images of the Sun, both divided by the flat, tell of the time between them. */
export interface PairMatch {
  readonly says: "fits" | "moved" | "untold";
  readonly shift: { readonly x: number; readonly y: number; readonly sigmaPx: number };
  readonly move: TrainMove | undefined;
}

/** A shift that is known no better can't be ruled out. */
const sigmaPxMost = 0.2;

/**
 * Whether the dust has moved since an image that the flat fitted. The Sun is taken out by laying the earlier image on the
 * later one; what a flat that no longer fits leaves is each shadow where it is now, less where the flat has it.
 * How the Sun itself changed meanwhile is noise: how much of a shift that alone can feign is found by asking the same for
 * the flat's dust laid elsewhere.
 * @param earlier, later levels over the flat; the flat fits the earlier
 * @param shadows dust of the flat
 */
export function matchPair(
  library: FftLibrary,
  flat: SmallStructure,
  earlier: SmallStructure,
  later: SmallStructure,
  shadows: readonly KnownShadow[],
): PairMatch {
  const { shape } = flat;
  using finder = new ShiftFinder(library, shape, { fineSigmaPx, coarseSigmaPx });
  const roughly = finder.between(finder.spectrumOf(earlier.log), finder.spectrumOf(later.log));
  const sun = commonMove(structurePair({ ...earlier, noiseRms: 0 }, later), roughly);
  const { movedX, movedY, share } = sun ?? { movedX: roughly.x, movedY: roughly.y, share: 1 };
  const rest = later.fine.map((value, i) => {
    const [x, y] = [(i % shape.widthPx) - movedX, Math.floor(i / shape.widthPx) - movedY];
    return value - share * sampleBilinear(earlier.fine, shape, x, y);
  });
  const pair = differencePair(flat, rest);
  const still = { x: 0, y: 0 };
  const whole = commonMove(pair, still);
  if (!whole)
    return { says: "untold", shift: { ...still, sigmaPx: Number.POSITIVE_INFINITY }, move: undefined };
  const wider = Math.max(1, chanceShiftPx(pair) / whole.sigmaPx);
  const moves = shadowMoves(pair, shadows, still).map((one) => ({ ...one, sigmaPx: wider * one.sigmaPx }));
  const agreed = trainMove(moves, shape);
  const move = agreed && agreed.shiftSigmaPx < sigmaPxMost ? agreed : undefined;
  const shift = move
    ? { x: move.shiftX, y: move.shiftY, sigmaPx: move.shiftSigmaPx }
    : { x: whole.movedX, y: whole.movedY, sigmaPx: wider * whole.sigmaPx };
  const figures = { shift, move, gone: 0 };
  const says =
    shift.sigmaPx > sigmaPxMost && !hasMoved(figures)
      ? "untold"
      : hasMoved(figures)
        ? "moved"
        : isInPlace(figures)
          ? "fits"
          : "untold";
  return { says, shift, move };
}
