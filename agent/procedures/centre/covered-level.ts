import type { Frame } from "../../../drivers/roles/camera.ts";
import { coarseFrame } from "../../imaging/disc/limb-coarse.ts";
import { type CodeCounts, countCodes, quantileAdu, totalCount } from "../../imaging/exposure/histogram.ts";
import { quantile } from "../../imaging/numerics/order-statistics.ts";

/** What a frame shows without light. */
export interface CoveredLevel {
  readonly exposureSeconds: number;
  /** Median [adu]. */
  readonly levelAdu: number;
  /** How far a few pixels' mean strays above it: noise, hot pixels, amplifier glow [adu]. */
  readonly strayAdu: number;
}

export function coveredLevel(frame: Frame): CoveredLevel {
  const levelAdu = quantileAdu(countCodes(frame.pixelsAdu), 0.5)!;
  const coarse = coarseFrame(frame.pixelsAdu, frame, levelAdu);
  return {
    exposureSeconds: frame.exposureSeconds,
    levelAdu,
    strayAdu: Math.max(1, quantile(coarse.signalAdu, 0.999)!),
  };
}

/** Without a cover the pedestal is taken from the darkest tenth of the first frame, at the shortest exposure. */
export function levelWithoutCover(frame: Frame): CoveredLevel {
  const counts = countCodes(frame.pixelsAdu);
  const levelAdu = quantileAdu(counts, 0.02)!;
  return { exposureSeconds: frame.exposureSeconds, levelAdu, strayAdu: Math.max(4, 0.02 * levelAdu) };
}

/** Pedestal and dark at that exposure: a line through the first and the last covered frame [adu]. */
export function pedestalAdu(covered: readonly CoveredLevel[], exposureSeconds: number): number {
  return onLine(covered, exposureSeconds, (level) => level.levelAdu);
}

/** Signal that is not surely light [adu]: four times what covered frames stray by, for a wandering pedestal. */
export function darkBelowAdu(covered: readonly CoveredLevel[], exposureSeconds: number): number {
  return 4 * onLine(covered, exposureSeconds, (level) => level.strayAdu);
}

function onLine(
  covered: readonly CoveredLevel[],
  exposureSeconds: number,
  of: (level: CoveredLevel) => number,
): number {
  const first = covered[0]!;
  const last = covered.at(-1)!;
  if (last.exposureSeconds <= first.exposureSeconds) return of(first);
  const share = (exposureSeconds - first.exposureSeconds) / (last.exposureSeconds - first.exposureSeconds);
  return of(first) + Math.max(0, share) * Math.max(0, of(last) - of(first));
}

/** The code at which this frame clips: the known top, or a pile of equal highest codes far above the pedestal. */
export function clipCodeAdu(counts: CodeCounts, pedestal: number, topCodeAdu: number): number {
  let highest = counts.length - 1;
  while (highest > 0 && counts[highest] === 0) highest--;
  const isPile = counts[highest]! > 0.005 * totalCount(counts) && highest - pedestal > 0.04 * topCodeAdu;
  return isPile ? Math.min(highest, topCodeAdu) : topCodeAdu;
}

/** Share of the lit pixels that clip; 0 when hardly anything is lit. */
export function clippedShare(counts: CodeCounts, pedestal: number, clipAdu: number): number {
  const litFrom = Math.ceil(pedestal + 0.2 * (clipAdu - pedestal));
  const lit = totalCount(counts, litFrom);
  return lit < 0.002 * totalCount(counts) ? 0 : totalCount(counts, Math.floor(clipAdu * 0.998)) / lit;
}
