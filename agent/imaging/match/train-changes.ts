import { gaussianBlur } from "../numerics/gaussian-blur.ts";
import { mapInto } from "../numerics/map-into.ts";
import { medianAndSigma } from "../numerics/order-statistics.ts";
import { coarseSigmaPx, type SmallStructure } from "./small-structure.ts";

/** A place where a picture is darker or brighter than the flat has it. */
export interface TrainChange {
  readonly xPx: number;
  readonly yPx: number;
  /** What a division would leave there, a share of the level; below zero darker. */
  readonly left: number;
}

export interface TrainChanges {
  /** Apart from each other; the worst comes first. */
  readonly places: readonly TrainChange[];
  /** A smaller one would not have been seen. */
  readonly leastSeen: number;
}

/** What shows in a processed image of the Sun (see the proof's limits): less does no harm. */
const harmful = 0.005;
/** Chance makes less of a frame's worst place; of two halves that have to agree, each less far out. */
const sureSigmas = { one: 7, half: 4.5 } as const;
/** Wide enough that a pixel counts for nothing, narrow enough for the rim of a shadow. */
const smoothSigmaPx = 2;
/** A straight border is then twice as far as the coarse filter reaches; a few dead pixels are none. */
const knownAround = 0.97;
const strideForNoise = 7;
const apartPx = 24;
const placesMost = 50;
/** Stray light and a dark that stayed in make all dust shallower together: that is told elsewhere. */
const shareRange = [0.85, 1.15] as const;

/**
 * Where a division by the flat would leave harm, whatever moved, grew, came or went: the picture less the flat's
 * structure, place by place, against its own scatter.
 * @param views of one state of the train, each with other chance in it (halves of a series); only what all show counts
 * @param hidden at each pixel a difference that may be something else's
 */
export function findChanges(
  flat: SmallStructure,
  views: readonly SmallStructure[],
  hidden?: Float32Array,
): TrainChanges {
  const { widthPx } = flat.shape;
  const lefts = views.map((view) => leftOver(flat, view));
  const noises = lefts.map(
    (left) =>
      medianAndSigma(left.filter((value, i) => i % strideForNoise === 0 && !Number.isNaN(value)))?.sigma ??
      Number.POSITIVE_INFINITY,
  );
  const sigmas = views.length > 1 ? sureSigmas.half : sureSigmas.one;
  const least = Math.max(harmful, sigmas * Math.max(...noises));
  const found: TrainChange[] = [];
  const [first, ...others] = lefts;
  for (let i = 0; i < first!.length; i++) {
    let left = first![i]!;
    if (!(Math.abs(left) > least)) continue;
    for (const other of others) {
      const value = other[i]!;
      left = value * left > 0 ? Math.sign(left) * Math.min(Math.abs(left), Math.abs(value)) : 0;
    }
    if (Math.abs(left) > Math.max(least, hidden?.[i] ?? 0))
      found.push({ xPx: i % widthPx, yPx: Math.floor(i / widthPx), left });
  }
  return { places: apart(found), leastSeen: least };
}

function leftOver(flat: SmallStructure, view: SmallStructure): Float32Array {
  const share = depthShare(flat, view);
  const left = view.fine.map((value, i) => value - share * flat.fine[i]!);
  const use = mapInto(new Uint8Array(left.length), left, (value) => (Number.isNaN(value) ? 0 : 1));
  const smooth = gaussianBlur(left, flat.shape, smoothSigmaPx, use);
  // The filters are one-sided beside what is not known, and what they make of vignetting there is no dust.
  const known = view.log.map((value, i) => (Number.isNaN(value + flat.log[i]!) ? 0 : 1));
  const around = gaussianBlur(known, flat.shape, coarseSigmaPx, new Uint8Array(known.length).fill(1));
  for (let i = 0; i < smooth.length; i++)
    if (use[i] === 0 || around[i]! < knownAround) smooth[i] = Number.NaN;
  return smooth;
}

/** How deep the flat's structure is in the view. */
function depthShare({ fine: a }: SmallStructure, { fine: b }: SmallStructure): number {
  let [ab, aa] = [0, 0];
  for (let i = 0; i < a.length; i++) {
    const product = a[i]! * b[i]!;
    if (Number.isNaN(product)) continue;
    ab += product;
    aa += a[i]! ** 2;
  }
  return aa > 0 ? Math.min(shareRange[1], Math.max(shareRange[0], ab / aa)) : 1;
}

function apart(found: TrainChange[]): TrainChange[] {
  const places: TrainChange[] = [];
  for (const one of found.sort((a, b) => Math.abs(b.left) - Math.abs(a.left))) {
    if (places.length === placesMost) break;
    if (places.every(({ xPx, yPx }) => Math.hypot(xPx - one.xPx, yPx - one.yPx) > apartPx)) places.push(one);
  }
  return places;
}
