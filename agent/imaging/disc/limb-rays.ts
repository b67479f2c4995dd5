import type { Shape } from "../numerics/shape.ts";
import type { Circle, PointPx } from "./circle-fit.ts";

/** A limb crossing on one ray from the disc's centre. */
export interface LimbPoint extends PointPx {
  /** Angle of the ray, from x towards y [radians]. */
  readonly angle: number;
  /** Fall of the signal across the limb, per pixel [adu/px]. */
  readonly steepnessAdu: number;
  /** Signal above the pedestal a little inside and a little outside [adu]. */
  readonly insideAdu: number;
  readonly outsideAdu: number;
}

interface Search {
  /** How far on each side of the expected limb to look. */
  readonly reachPx: number;
  readonly pedestalAdu: number;
}

/**
 * The steepest descent along rays across the expected limb, to a fraction of a pixel by a parabola through the
 * three largest slopes. Each profile is the median of three neighbouring lines, so that a hot pixel moves nothing.
 * Rays that leave the frame within the reach are left out.
 */
export function limbOnRays(
  pixelsAdu: Uint16Array,
  shape: Shape,
  expected: Circle,
  search: Search,
): LimbPoint[] {
  const { pedestalAdu } = search;
  const reach = Math.max(4, Math.ceil(search.reachPx));
  const points: LimbPoint[] = [];
  const share = shareInFrame(shape, expected);
  if (share === 0) return points;
  const wanted = Math.min(720, Math.max(120, (share * 2 * Math.PI * expected.radiusPx) / 2)); // one ray in two pixels
  const count = Math.round(wanted / share);
  const profile = new Float64Array(2 * reach + 1);
  const slopes = new Float64Array(2 * reach + 1);
  for (let ray = 0; ray < count; ray++) {
    const angle = (2 * Math.PI * ray) / count;
    const cos = Math.cos(angle);
    const sin = Math.sin(angle);
    if (!readProfile(pixelsAdu, shape, expected, cos, sin, reach, profile)) continue;
    const found = steepestDescent(profile, slopes);
    if (!found) continue;
    const distance = expected.radiusPx - reach + found.at;
    const inside = profile[Math.max(0, Math.round(found.at) - 3)]! - pedestalAdu;
    const outside = profile[Math.min(2 * reach, Math.round(found.at) + 3)]! - pedestalAdu;
    points.push({
      xPx: expected.xPx + distance * cos,
      yPx: expected.yPx + distance * sin,
      angle,
      steepnessAdu: found.steepness,
      insideAdu: inside,
      outsideAdu: outside,
    });
  }
  return points;
}

/** Share of the circle that lies inside the frame, so that a short arc still gets its full number of rays. */
function shareInFrame(shape: Shape, circle: Circle): number {
  const probes = 4000;
  let inside = 0;
  for (let k = 0; k < probes; k++) {
    const angle = (2 * Math.PI * k) / probes;
    const x = circle.xPx + circle.radiusPx * Math.cos(angle);
    const y = circle.yPx + circle.radiusPx * Math.sin(angle);
    if (x >= 0 && y >= 0 && x <= shape.widthPx - 1 && y <= shape.heightPx - 1) inside++;
  }
  return inside / probes;
}

/** Fills `profile` from inside outwards, one sample a pixel; false when a sample lies outside the frame. */
function readProfile(
  pixelsAdu: Uint16Array,
  shape: Shape,
  circle: Circle,
  cos: number,
  sin: number,
  reach: number,
  profile: Float64Array,
): boolean {
  const { widthPx, heightPx } = shape;
  const nearest = circle.radiusPx - reach;
  if (nearest < 2) return false;
  for (const distance of [nearest, circle.radiusPx + reach]) {
    const x = circle.xPx + distance * cos;
    const y = circle.yPx + distance * sin;
    if (x < 2 || y < 2 || x > widthPx - 3 || y > heightPx - 3) return false;
  }
  for (let k = 0; k < profile.length; k++) {
    const x = circle.xPx + (nearest + k) * cos;
    const y = circle.yPx + (nearest + k) * sin;
    const a = bilinear(pixelsAdu, widthPx, x + sin, y - cos);
    const b = bilinear(pixelsAdu, widthPx, x, y);
    const c = bilinear(pixelsAdu, widthPx, x - sin, y + cos);
    profile[k] = Math.max(Math.min(a, b), Math.min(Math.max(a, b), c));
  }
  return true;
}

function bilinear(pixelsAdu: Uint16Array, width: number, x: number, y: number): number {
  const column = Math.floor(x);
  const row = Math.floor(y);
  const fx = x - column;
  const fy = y - row;
  const i = row * width + column;
  const top = pixelsAdu[i]! * (1 - fx) + pixelsAdu[i + 1]! * fx;
  const bottom = pixelsAdu[i + width]! * (1 - fx) + pixelsAdu[i + width + 1]! * fx;
  return top * (1 - fy) + bottom * fy;
}

/** Where the profile falls fastest, after smoothing over about two pixels; undefined at the ends of the reach. */
function steepestDescent(
  profile: Float64Array,
  slopes: Float64Array,
): { at: number; steepness: number } | undefined {
  const n = profile.length;
  slopes.fill(0);
  for (let k = 2; k < n - 2; k++) {
    // Derivative of a quadratic through five points: smooths as a sigma of about 1.4 px does.
    slopes[k] = (2 * profile[k - 2]! + profile[k - 1]! - profile[k + 1]! - 2 * profile[k + 2]!) / 10;
  }
  let best = 2;
  for (let k = 3; k < n - 2; k++) if (slopes[k]! > slopes[best]!) best = k;
  if (best <= 2 || best >= n - 3) return undefined;
  const before = slopes[best - 1]!;
  const middle = slopes[best]!;
  const after = slopes[best + 1]!;
  const bend = before - 2 * middle + after;
  const shift = bend < 0 ? (before - after) / (2 * bend) : 0;
  return { at: best + Math.max(-0.5, Math.min(0.5, shift)), steepness: middle };
}
