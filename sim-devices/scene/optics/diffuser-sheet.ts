import type { SceneSpec } from "../spec/scene-spec.ts";
import { tubeTurnDegrees } from "./image-geometry.ts";

/**
 * How even the diffuser's light is over the sensor: 1 in the middle of a faultless sheet. It belongs to the tube's
 * front and turns with the tube.
 * @returns `undefined` for a sheet whose light is the same everywhere
 */
export function sheetLight(spec: SceneSpec, rotatorDegrees: number): Float32Array | undefined {
  const { fallOffAtCorner = 0, slope, patches = [] } = spec.rig.diffuser;
  if (fallOffAtCorner === 0 && !slope && patches.length === 0) return undefined;
  const { widthPx, heightPx } = spec.camera;
  const turn = (tubeTurnDegrees(spec, rotatorDegrees) * Math.PI) / 180;
  const [cos, sin] = [Math.cos(turn), Math.sin(turn)];
  const [middleX, middleY] = [(widthPx - 1) / 2, (heightPx - 1) / 2];
  const halfDiagonal = Math.hypot(middleX, middleY);
  const steepness = (slope?.peakToPeak ?? 0) / widthPx;
  const towards = ((slope?.degrees ?? 0) * Math.PI) / 180;
  const [slopeX, slopeY] = [steepness * Math.cos(towards), steepness * Math.sin(towards)];
  const map = new Float32Array(widthPx * heightPx);
  for (let y = 0, i = 0; y < heightPx; y++) {
    for (let x = 0; x < widthPx; x++, i++) {
      const tx = (x - middleX) * cos + (y - middleY) * sin;
      const ty = (y - middleY) * cos - (x - middleX) * sin;
      let level = 1 - (fallOffAtCorner * (tx * tx + ty * ty)) / halfDiagonal ** 2;
      level *= 1 + slopeX * tx + slopeY * ty;
      for (const { xPx, yPx, sigmaPx, excess } of patches) {
        const d2 = (tx + middleX - xPx) ** 2 + (ty + middleY - yPx) ** 2;
        level *= 1 + excess * Math.exp(-d2 / (2 * sigmaPx ** 2));
      }
      map[i] = Math.max(0, level);
    }
  }
  return map;
}
