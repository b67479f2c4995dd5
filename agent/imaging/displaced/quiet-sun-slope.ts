import { gaussianBlur } from "../numerics/gaussian-blur.ts";
import { medianAndSigma } from "../numerics/order-statistics.ts";
import type { Shape } from "../numerics/shape.ts";
import type { ObjectGrid } from "./object-grid.ts";
import { type Plane, type PlanePoint, robustPlane } from "./robust-plane.ts";
import type { Slope } from "./slope.ts";

const smoothSigmaPx = 6;
/** Smoothed over 6 px, neighbours tell the same: more points only take time. */
const pointsMost = 20_000;
/** Active regions are many: cut early. */
const activeCut = 3;

/**
 * Slope of the quiet Sun in the solved object, which belongs to the gain: a flat Sun has none once limb darkening is out.
 * Right where most of the field is quiet; its sigma is the scatter of four quadrants' own fits. Pauses between its steps.
 * @param object over the limb-darkening model, on the grid
 * @param count frames that show each of its pixels
 */
export function* quietSunSlope(
  object: Float32Array,
  count: Float32Array,
  grid: ObjectGrid,
): Generator<void, Slope | undefined> {
  const seen = new Uint8Array(count.length);
  for (let i = 0; i < seen.length; i++) if (count[i]! >= 1) seen[i] = 1;
  const first = robustPlane(pointsOf(object, seen, grid), activeCut);
  if (!first) return undefined;
  yield;
  const quiet = yield* outsideActiveRegions(object, seen, grid, first);
  const points = pointsOf(object, quiet, grid);
  yield;
  const whole = robustPlane(points, activeCut);
  if (!whole) return undefined;
  const quadrants = quadrantsOf(points).map((quadrant) => robustPlane(quadrant, activeCut));
  const scatter = (axis: "x" | "y") => {
    const squares = quadrants.map((fit) => ((fit?.[axis] ?? Number.POSITIVE_INFINITY) - whole[axis]) ** 2);
    // A quadrant has half the lever and a quarter of the points of the whole.
    return Math.sqrt(squares.reduce((sum, square) => sum + square, 0) / 4) / 4;
  };
  return { x: whole.x, y: whole.y, xSigma: scatter("x"), ySigma: scatter("y") };
}

/** What plages, spots and filaments are seen on: finer than the points', which would wash a filament out. */
const activeSigmaPx = 3.5;
const activeSigmas = 3;
/** Their faint surroundings, which no cut finds and which pull the plane, go with them. */
const aroundSigmaPx = 10;
const aroundShare = 0.15;

/** @returns the pixels to use, less active regions and what lies around them */
function* outsideActiveRegions(
  object: Float32Array,
  use: Uint8Array<ArrayBuffer>,
  shape: Shape,
  { mean, x: slopeX, y: slopeY }: Plane,
): Generator<void, Uint8Array<ArrayBuffer>> {
  const { widthPx, heightPx } = shape;
  const excess = gaussianBlur(object, shape, activeSigmaPx, use);
  for (let y = 0; y < heightPx; y++)
    for (let x = 0; x < widthPx; x++)
      excess[y * widthPx + x]! -= mean + slopeX * (x - widthPx / 2) + slopeY * (y - heightPx / 2);
  yield;
  const used = new Float64Array(excess.length);
  let count = 0;
  for (let i = 0; i < excess.length; i++) if (use[i] === 1) used[count++] = excess[i]!;
  const spread = medianAndSigma(used.subarray(0, count));
  if (!spread) return use;
  const limit = activeSigmas * spread.sigma;
  const active = new Float32Array(excess.length);
  for (let i = 0; i < active.length; i++) if (Math.abs(excess[i]! - spread.median) > limit) active[i] = 1;
  yield;
  const around = gaussianBlur(active, shape, aroundSigmaPx, use);
  yield;
  const quiet = use.slice();
  for (let i = 0; i < quiet.length; i++) if (around[i]! > aroundShare) quiet[i] = 0;
  return quiet;
}

function pointsOf(object: Float32Array, use: Uint8Array, { widthPx, heightPx }: Shape): PlanePoint[] {
  const smooth = gaussianBlur(object, { widthPx, heightPx }, smoothSigmaPx, use);
  const everyPx = Math.max(4, Math.ceil(Math.sqrt(object.length / pointsMost)));
  const points: PlanePoint[] = [];
  for (let y = 0; y < heightPx; y += everyPx) {
    for (let x = 0; x < widthPx; x += everyPx) {
      const i = y * widthPx + x;
      if (use[i] !== 1) continue;
      // Texture that a sharp edge cuts off looks like a slope.
      const taper = Math.sin((Math.PI * (x + 0.5)) / widthPx) * Math.sin((Math.PI * (y + 0.5)) / heightPx);
      points.push({ x: x - widthPx / 2, y: y - heightPx / 2, value: smooth[i]!, taper: Math.sqrt(taper) });
    }
  }
  return points;
}

function quadrantsOf(points: readonly PlanePoint[]): PlanePoint[][] {
  const middle = (axis: "x" | "y") => points.reduce((sum, point) => sum + point[axis], 0) / points.length;
  const [x, y] = [middle("x"), middle("y")];
  return [0, 1, 2, 3].map((quadrant) =>
    points.filter((point) => point.x > x === ((quadrant & 1) === 1) && point.y > y === quadrant > 1),
  );
}
