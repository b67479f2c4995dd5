import type { LightPath } from "../painter-contract.ts";
import type { SceneSpec } from "../spec/scene-spec.ts";
import { imageGeometry, sunCentrePx } from "./image-geometry.ts";
import { softEdge } from "./soft-edge.ts";

/** A reflection as it falls on the sensor. */
export interface GhostSpot {
  readonly xPx: number;
  readonly yPx: number;
  readonly radiusPx: number;
  readonly edgePx: number;
  /** Its level over that of the light it comes from: the disc's centre, or the diffuser's even light. */
  readonly share: number;
}

/**
 * Where the reflections fall. Out of focus a spot spreads as the Sun's picture does. With the diffuser in, light
 * comes from the whole field at once, and a ghost that moves is as wide as all its places together. With the Sun
 * out of the field there are none.
 */
export function ghostSpots(spec: SceneSpec, light: LightPath): GhostSpot[] {
  const { ghosts = [] } = spec.rig;
  if (ghosts.length === 0) return [];
  const { widthPx, heightPx } = spec.camera;
  const geometry = imageGeometry(spec, light);
  const at = { eastArcsec: light.sunEastArcsec, northArcsec: light.sunNorthArcsec };
  const sun = sunCentrePx(spec, geometry, at);
  const [sunX, sunY] = [sun.xPx - (widthPx - 1) / 2, sun.yPx - (heightPx - 1) / 2];
  const fieldPx = Math.hypot(widthPx, heightPx) / 2;
  if (light.diffuserInPlace) {
    return ghosts.map(({ share, motion, xPx, yPx, radiusPx, edgePx }) => {
      return { share, xPx, yPx, radiusPx: radiusPx + Math.abs(motion) * fieldPx, edgePx };
    });
  }
  if (Math.hypot(sunX, sunY) > fieldPx + geometry.sunRadiusPx) return [];
  const { pupilPx } = geometry;
  return ghosts.map(({ share, motion, xPx, yPx, radiusPx, edgePx }) => {
    const spot = {
      radiusPx: Math.max(radiusPx, pupilPx),
      edgePx: Math.hypot(edgePx, 2 * Math.min(radiusPx, pupilPx)),
    };
    return {
      ...spot,
      xPx: xPx + motion * sunX,
      yPx: yPx + motion * sunY,
      share: (share * spotArea({ radiusPx, edgePx })) / spotArea(spot),
    };
  });
}

/** Light in a spot of level 1 over π [px²]: its cubic edge has a variance of width²/20. */
function spotArea({ radiusPx, edgePx }: Pick<GhostSpot, "radiusPx" | "edgePx">): number {
  return radiusPx ** 2 + edgePx ** 2 / 20;
}

/**
 * Adds one row of a spot.
 * @param response of every pixel of the sensor; the optics' own pattern does not apply: the light came another way
 * @param start of the row in it
 * @param xPx, yPx where the row begins on the sensor
 */
export function addGhostRow(
  out: Float32Array,
  count: number,
  response: Float32Array,
  start: number,
  spot: GhostSpot,
  xPx: number,
  yPx: number,
  electrons: number,
): void {
  const edgePx = Math.max(1, spot.edgePx); // a pixel is the sharpest edge
  const reach = spot.radiusPx + edgePx / 2;
  const dy = yPx - spot.yPx;
  if (Math.abs(dy) > reach) return;
  const half = Math.sqrt(reach * reach - dy * dy);
  const from = Math.max(0, Math.ceil(spot.xPx - half - xPx));
  const to = Math.min(count - 1, Math.floor(spot.xPx + half - xPx));
  const level = electrons * spot.share;
  for (let x = from; x <= to; x++) {
    const r = Math.hypot(xPx + x - spot.xPx, dy);
    out[x]! += level * softEdge(spot.radiusPx - r, edgePx) * response[start + x]!;
  }
}
