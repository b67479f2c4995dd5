import type { FftLibrary } from "../numerics/fft-library.ts";
import { correlationAt } from "../registration/register-pair.ts";
import { ShiftFinder } from "../registration/shift-finder.ts";
import { commonMove, type KnownShadow, type ShadowMove, shadowMoves } from "./shadow-moves.ts";
import { coarseSigmaPx, fineSigmaPx, type SmallStructure } from "./small-structure.ts";
import { residualAtShift, type StructurePair, structurePair } from "./structure-pair.ts";
import { findChanges, type TrainChanges } from "./train-changes.ts";
import { type TrainMove, trainMove } from "./train-move.ts";

/**
 * `fits`: the dust lies where the flat has it. `moved`: the same dust, elsewhere. `changed`: in place, but some of it is new,
 * gone, or wider (another focus). `other`: other dust, another train.
 * `uncertain`: neither is sure. `untold`: too little dust, or too much else in the picture, to tell.
 */
export type MatchVerdict = "fits" | "moved" | "changed" | "other" | "uncertain" | "untold";

export interface TrainMatch {
  readonly says: MatchVerdict;
  /** Normalised correlation of the small structures at the shift found, and with none. */
  readonly correlation: number;
  readonly correlationAtZero: number;
  /** What it would be if nothing but noise differed. */
  readonly correlationExpected: number;
  /** Share of the flat's structure that is in the picture unmoved: 1 all of it, 0 none; with its sigma. */
  readonly shareAtZero: number;
  readonly shareSigma: number;
  readonly shift: { readonly x: number; readonly y: number; readonly sigmaPx: number };
  /** Shadows of the flat that are nowhere near in the picture; not told of an image, where the Sun may hide them. */
  readonly gone: number;
  /** From three shadows on. */
  readonly move: TrainMove | undefined;
  /** What a division would leave, where all lies in place. */
  readonly changes?: TrainChanges;
}

const limits = {
  /** Of the correlation expected. */
  fits: 0.9,
  moved: 0.7,
  /** Unlike patterns reach 0.11 by chance. */
  other: 0.3,
  /** Where any place in the frame may be tried, a few shadows coincide somewhere: patterns of one train agree better. */
  otherFar: 0.6,
  farPx: 3,
  /** A motion that is known no better is none: the shadows it rests on do not agree. */
  moveSigmaPx: 0.5,
  /** A shift that the difference proposes counts when it leaves so much less unexplained. */
  missAnew: 0.8,
  /** An error of 0.3 px leaves 0.6 % at the rims of deep dust. */
  shiftPx: 0.3,
  rotationDegrees: 0.1,
  /** A flat is refused for what is as sure as this, and said to fit only if a shift of so many px is ruled out (2 sigma). */
  sureSigmas: 4,
  /** A shadow of which no more than that is left is gone. */
  goneShare: 0.4,
  ruledOutPx: 0.5,
  /** Structure of less than so many times its noise tells nothing. */
  structureOverNoise: 2,
  shareSigma: 0.15,
  /** A picture of so many times the flat's structure has some of its own. */
  structured: 1.2,
  /** To say that nothing has changed, so much must not be able to hide. */
  leastSeen: 0.03,
  /** In a smaller picture any two patterns are alike by chance. */
  pixels: 10_000,
} as const;

/** An image has the Sun's own structure in it, images less what wandered over them nearly nothing of it. */
export type PictureKind = "flat" | "image" | "images less the Sun";

/** Of the same train as the picture, each with other chance in it: only changes that all of them show are told. */
export interface TrainViews {
  readonly views: readonly SmallStructure[];
  /** What of the Sun may be left at each pixel. */
  readonly sunLeft?: Float32Array;
}

/**
 * Whether a picture was taken with the optical train that a flat was taken with, by their dust.
 * Thresholds: own reasoning, no source; the correlations they rest on were computed on drawn rings.
 * @param shadows dust of the flat; with three or more a rotation is told, and what moved on its own
 */
export function matchTrain(
  library: FftLibrary,
  flat: SmallStructure,
  picture: SmallStructure,
  shadows: readonly KnownShadow[],
  kind: PictureKind,
  { views, sunLeft }: TrainViews = { views: [picture] },
): TrainMatch {
  const { shape } = flat;
  const correlationAtZero = correlationAt(flat.fine, picture.fine, shape, { x: 0, y: 0 });
  const inPlace = {
    correlationAtZero,
    correlationExpected: Math.sqrt(signalShare(flat) * signalShare(picture)),
    ...shareOf(flat, picture, correlationAtZero),
  };
  if (kind === "image" && isHidden(flat, picture, inPlace.shareSigma)) return untold(inPlace);
  using finder = new ShiftFinder(library, shape, { fineSigmaPx, coarseSigmaPx });
  const spectrum = finder.spectrumOf(flat.log);
  const found = finder.between(spectrum, finder.spectrumOf(picture.log));
  const atPeak = correlationAt(flat.fine, picture.fine, shape, found);
  // A peak by chance is no shift: what lies at zero counts unless another place is better.
  const peak = atPeak > correlationAtZero ? found : { x: 0, y: 0 };
  const pair = structurePair(flat, picture);
  // A strong pattern of the sensor keeps that at zero. In the difference only shadows that moved are left.
  const peakAgain = finder.between(
    spectrum,
    finder.spectrumOf(picture.log.map((log, i) => log - flat.log[i]!)),
  );
  const common =
    residualAtShift(pair, peakAgain) < limits.missAnew * residualAtShift(pair, peak) ? peakAgain : peak;
  const moves = shadowMoves(pair, shadows, common);
  const agreed = trainMove(moves, shape);
  const move = agreed && agreed.shiftSigmaPx < limits.moveSigmaPx ? agreed : undefined;
  const shift = shiftOf(pair, common, move);
  const figures = {
    correlation: Math.max(correlationAt(flat.fine, picture.fine, shape, common), correlationAtZero),
    ...inPlace,
    shift,
    gone: kind === "flat" ? moves.filter(isGone).length : 0,
    move,
  };
  const says = decide(figures, flat, picture, { kind, shadows: shadows.length });
  if (says !== "fits" && !(says === "uncertain" && isInPlace(figures))) return { says, ...figures };
  const changes = findChanges(flat, views, sunLeft);
  return { says: withChanges(says, changes, kind), ...figures, changes };
}

/** What was seen in place only fits if nothing about it has changed. In one image a change may be the Sun's. */
function withChanges(says: "fits" | "uncertain", changes: TrainChanges, kind: PictureKind): MatchVerdict {
  if (changes.places.length > 0) return kind === "image" ? "uncertain" : "changed";
  return changes.leastSeen > limits.leastSeen ? "uncertain" : says;
}

/** The Sun's own structure covers that of the flat: not worth a search. */
function isHidden(flat: SmallStructure, picture: SmallStructure, shareSigma: number): boolean {
  return picture.rms > limits.structured * flat.rms && shareSigma > limits.shareSigma;
}

function untold(
  inPlace: Pick<TrainMatch, "correlationAtZero" | "correlationExpected" | "shareAtZero" | "shareSigma">,
): TrainMatch {
  const shift = { x: 0, y: 0, sigmaPx: Number.POSITIVE_INFINITY };
  return {
    says: "untold",
    correlation: inPlace.correlationAtZero,
    ...inPlace,
    shift,
    gone: 0,
    move: undefined,
  };
}

/** Of the shadows that agree, unless the structure as a whole, in which more of the sensor's pattern is, tells it far better. */
function shiftOf(
  pair: StructurePair,
  common: { readonly x: number; readonly y: number },
  move: TrainMove | undefined,
): TrainMatch["shift"] {
  const whole = commonMove(pair, common);
  if (move && !(whole && whole.sigmaPx < move.shiftSigmaPx / 2))
    return { x: move.shiftX, y: move.shiftY, sigmaPx: move.shiftSigmaPx };
  return whole
    ? { x: whole.movedX, y: whole.movedY, sigmaPx: whole.sigmaPx }
    : { ...common, sigmaPx: Number.POSITIVE_INFINITY };
}

function decide(
  figures: Omit<TrainMatch, "says">,
  flat: SmallStructure,
  picture: SmallStructure,
  { kind, shadows }: { readonly kind: PictureKind; readonly shadows: number },
): MatchVerdict {
  const { correlation, correlationAtZero, correlationExpected, shareAtZero } = figures;
  if (Math.min(flat.pixels, picture.pixels) < limits.pixels) return "untold";
  if (flat.rms < limits.structureOverNoise * flat.noiseRms) return "untold";
  const moved = hasMoved(figures);
  if (kind !== "flat" && picture.rms > limits.structured * flat.rms) {
    // The Sun's own structure lowers the correlation even when all fits.
    // Elsewhere chance finds a third of a pattern, but not most of it.
    const shareThere = (correlation * picture.rms) / flat.rms;
    if (shareAtZero < 0.3) return moved && shareThere > 0.7 ? "moved" : "other";
    if (moved) return "moved";
    return shareAtZero > 0.7 && isInPlace(figures) ? "fits" : "uncertain";
  }
  // Pixels of one sensor are alike whatever dust there is.
  const sensor = (Math.min(flat.noiseRms, picture.noiseRms) ** 2 || 0) / (flat.rms * picture.rms);
  if (correlation - sensor <= limits.other) return "other";
  const far = Math.hypot(figures.shift.x, figures.shift.y) > limits.farPx;
  if (far && correlation < limits.otherFar * correlationExpected) return "other";
  if (correlation < 0.5 && shadows >= 5 && sharedBy(figures) < shadows / 3) return "other";
  if (moved)
    return correlation >= limits.moved * correlationExpected || partMoved(figures) ? "moved" : "uncertain";
  return correlationAtZero >= limits.fits * correlationExpected && isInPlace(figures) ? "fits" : "uncertain";
}

/** How many shadows go along with the whole. */
function sharedBy({ move }: Pick<TrainMatch, "move">): number {
  return move?.along.length ?? 0;
}

export function hasMoved(figures: Pick<TrainMatch, "shift" | "move" | "gone">): boolean {
  const { shift, move } = figures;
  const far = Math.hypot(shift.x, shift.y);
  if (far > limits.shiftPx && far > limits.sureSigmas * shift.sigmaPx) return true;
  if (move) {
    const turn = Math.abs(move.rotationDegrees);
    if (turn > limits.rotationDegrees && turn > limits.sureSigmas * move.rotationSigmaDegrees) return true;
  }
  return partMoved(figures);
}

/** Not only unsure, and not moved a little. */
function isGone({ shareInPlace, shareInPlaceSigma }: ShadowMove): boolean {
  return shareInPlace + limits.sureSigmas * shareInPlaceSigma < limits.goneShare;
}

/** A shift that would do harm is not only not seen, it is ruled out. */
export function isInPlace({ shift }: Pick<TrainMatch, "shift">): boolean {
  return Math.hypot(shift.x, shift.y) + 2 * shift.sigmaPx <= limits.ruledOutPx;
}

/** At least two shadows on their own: one may be new dust, or have been blown off. */
function partMoved({ move, gone }: Pick<TrainMatch, "move" | "gone">): boolean {
  const sure = move?.apart.filter(
    (one) =>
      one.share > 0.5 &&
      !(gone > 0 && isGone(one)) && // counted there
      Math.hypot(one.movedX - move.shiftX, one.movedY - move.shiftY) >
        Math.max(limits.shiftPx, 5 * one.sigmaPx),
  );
  return (sure?.length ?? 0) + gone >= 2;
}

/** Share of a structure's variance that is not noise. */
function signalShare({ rms, noiseRms }: SmallStructure): number {
  return rms > 0 ? Math.max(0.01, 1 - (noiseRms / rms) ** 2) : 0.01;
}

/** Regression of the picture's structure on the flat's. */
function shareOf(flat: SmallStructure, picture: SmallStructure, correlation: number) {
  const shareAtZero = flat.rms > 0 ? (correlation * picture.rms) / flat.rms : 0;
  const restRms = picture.rms * Math.sqrt(Math.max(0, 1 - correlation ** 2));
  const independent = Math.max(1, picture.pixels / (4 * Math.PI * (2 * fineSigmaPx) ** 2));
  return { shareAtZero, shareSigma: flat.rms > 0 ? restRms / flat.rms / Math.sqrt(independent) : 1 };
}
