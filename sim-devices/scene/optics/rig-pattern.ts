import { Random } from "../../../drivers/kit/random.ts";
import type { TrainSlip } from "../painter-contract.ts";
import type { SceneSpec } from "../spec/scene-spec.ts";
import { castShadow, dustShadows, type TrainState } from "./dust-shadow.ts";
import { tubeTurnDegrees } from "./image-geometry.ts";
import { passbandLevel } from "./passband.ts";
import { smoothSurface } from "./smooth-surface.ts";

/**
 * Transmission of the optics over the sensor without dust and pixels: vignetting, uneven transmission, gradient,
 * hot spot (they belong to the tube and turn with the rotator), fringes (they belong to the camera).
 */
export function smoothPattern(
  spec: SceneSpec,
  rotatorDegrees: number,
  slip: TrainSlip = { xPx: 0, yPx: 0, degrees: 0 },
): Float32Array {
  const { widthPx, heightPx } = spec.camera;
  const { vignetting, gradient, hotSpot, fringes } = spec.rig;
  const turn = ((tubeTurnDegrees(spec, rotatorDegrees) + slip.degrees) * Math.PI) / 180;
  const cos = Math.cos(turn);
  const sin = Math.sin(turn);
  const middleX = (widthPx - 1) / 2;
  const middleY = (heightPx - 1) / 2;
  const halfDiagonal = Math.hypot(middleX, middleY);
  const uneven = unevenSurface(spec);
  const slopeX = (gradient.peakToPeak / widthPx) * Math.cos((gradient.degrees * Math.PI) / 180);
  const slopeY = (gradient.peakToPeak / widthPx) * Math.sin((gradient.degrees * Math.PI) / 180);
  const fringe = fringes && {
    kx: ((2 * Math.PI) / fringes.periodPx) * Math.cos((fringes.degrees * Math.PI) / 180),
    ky: ((2 * Math.PI) / fringes.periodPx) * Math.sin((fringes.degrees * Math.PI) / 180),
    amplitude: fringes.amplitude,
  };
  const map = new Float32Array(widthPx * heightPx);
  for (let y = 0, i = 0; y < heightPx; y++) {
    for (let x = 0; x < widthPx; x++, i++) {
      const px = x - middleX;
      const py = y - middleY;
      const [sx, sy] = [px - slip.xPx, py - slip.yPx];
      const tx = sx * cos + sy * sin; // back to where the tube's pattern lies at the first rotator angle
      const ty = sy * cos - sx * sin;
      const r2 = ((tx - vignetting.offsetXPx) ** 2 + (ty - vignetting.offsetYPx) ** 2) / halfDiagonal ** 2;
      let level = Math.max(0.02, 1 - vignetting.atCorner * r2);
      level *= 1 + uneven(tx, ty) + slopeX * tx + slopeY * ty;
      if (hotSpot.peak > 0) {
        const d2 = (tx + middleX - hotSpot.xPx) ** 2 + (ty + middleY - hotSpot.yPx) ** 2;
        level *= 1 + hotSpot.peak * Math.exp(-d2 / (2 * hotSpot.sigmaPx ** 2));
      }
      if (fringe) level *= 1 + fringe.amplitude * Math.cos(fringe.kx * px + fringe.ky * py);
      map[i] = level;
    }
  }
  return map;
}

/** Scaled so that its range over the sensor, as first mounted, is the peak to peak of the spec. */
function unevenSurface(spec: SceneSpec): (x: number, y: number) => number {
  const { widthPx, heightPx } = spec.camera;
  const { peakToPeak, scaleFractionOfWidth } = spec.rig.unevenTransmission;
  if (peakToPeak === 0) return () => 0;
  const surface = smoothSurface(
    new Random(spec.seed).fork("uneven transmission"),
    scaleFractionOfWidth * widthPx,
  );
  let lowest = Infinity;
  let highest = -Infinity;
  for (let gy = 0; gy <= 24; gy++) {
    for (let gx = 0; gx <= 24; gx++) {
      const height = surface((gx / 24 - 0.5) * widthPx, (gy / 24 - 0.5) * heightPx);
      lowest = Math.min(lowest, height);
      highest = Math.max(highest, height);
    }
  }
  const scale = peakToPeak / (highest - lowest);
  const middle = (highest + lowest) / 2;
  return (x, y) => scale * (surface(x, y) - middle);
}

/** The whole multiplicative pattern: optics × dust × passband × pixel response, mean 1 over the sensor. */
export function wholePattern(
  spec: SceneSpec,
  train: TrainState,
  smooth: Float32Array,
  response: Float32Array,
): Float32Array {
  const { widthPx, heightPx } = spec.camera;
  const map = smooth.slice();
  for (const shadow of dustShadows(spec, train)) castShadow(map, widthPx, heightPx, shadow);
  const passband = passbandLevel(spec, train);
  if (passband) {
    const [middleX, middleY] = [(widthPx - 1) / 2, (heightPx - 1) / 2];
    const corner2 = middleX ** 2 + middleY ** 2;
    for (let y = 0, i = 0; y < heightPx; y++) {
      for (let x = 0; x < widthPx; x++, i++)
        map[i]! *= passband(((x - middleX) ** 2 + (y - middleY) ** 2) / corner2);
    }
  }
  let sum = 0;
  for (let i = 0; i < map.length; i++) {
    map[i]! *= response[i]!;
    sum += map[i]!;
  }
  const scale = map.length / sum;
  for (let i = 0; i < map.length; i++) map[i]! *= scale;
  return map;
}
