import type { TrainSlip } from "../painter-contract.ts";
import type { SceneSpec } from "../spec/scene-spec.ts";
import { behindFocusMm } from "./image-geometry.ts";
import { softEdge } from "./soft-edge.ts";

type Dust = SceneSpec["rig"]["dust"][number];

/** What of the optical train the rig's own pattern depends on. */
export interface TrainState {
  /** Filter slot, from 1. */
  readonly wheelSlot: number;
  readonly rotatorDegrees: number;
  readonly focusSteps: number;
  readonly slip?: TrainSlip | undefined;
  readonly filterWarmerCelsius?: number | undefined;
}

/** One dust shadow as it falls on the sensor. */
export interface DustShadow {
  readonly xPx: number;
  readonly yPx: number;
  readonly diameterPx: number;
  /** Diameter of the bright middle that a central obstruction leaves; 0 without one. */
  readonly holePx: number;
  /** Fraction of the light lost inside the shadow. */
  readonly depth: number;
  /** Over this width the shadow's edge falls from full depth to none: the speck's own size. */
  readonly edgePx: number;
}

/**
 * Shadows of the dust that is in the light, by geometry: the beam to one pixel has the diameter
 * distance / focal ratio where the speck sits, and the speck takes its share of that area.
 */
export function dustShadows(spec: SceneSpec, train: TrainState): DustShadow[] {
  const mmPerPx = spec.camera.pixelMicron / 1000;
  const slip = train.slip ?? { xPx: 0, yPx: 0, degrees: 0 };
  const turn = ((train.rotatorDegrees - spec.startsWith.rotatorDegrees + slip.degrees) * Math.PI) / 180;
  const focusMm = behindFocusMm(spec, train.focusSteps);
  // The cone of light to a pixel ends at the aperture, wherever the focuser has the sensor.
  const coneRatio = (spec.optics.focalLengthMm + focusMm) / spec.optics.apertureMm;
  const middleX = (spec.camera.widthPx - 1) / 2;
  const middleY = (spec.camera.heightPx - 1) / 2;
  return spec.rig.dust
    .filter((speck) => speck.slot === undefined || speck.slot === train.wheelSlot)
    .map((speck) => {
      const moves = speck.on === "tube";
      // The filter wheel hangs on the focuser with the camera.
      const staysBehind = moves && speck.slot === undefined;
      const distanceMm = Math.max(0, speck.distanceMm + (staysBehind ? focusMm : 0));
      const dx = speck.xPx - middleX;
      const dy = speck.yPx - middleY;
      const angle = moves ? turn : 0;
      return {
        xPx: middleX + dx * Math.cos(angle) - dy * Math.sin(angle) + (moves ? slip.xPx : 0),
        yPx: middleY + dx * Math.sin(angle) + dy * Math.cos(angle) + (moves ? slip.yPx : 0),
        ...shadowOf(speck, distanceMm / coneRatio, spec.optics.obstructionRatio, mmPerPx),
      };
    });
}

function shadowOf(speck: Dust, beamMm: number, obstructionRatio: number, mmPerPx: number) {
  const speckMm = speck.speckMicron / 1000;
  const litShare = 1 - obstructionRatio ** 2;
  const edgePx = Math.max(1, Math.min(speckMm, beamMm) / mmPerPx);
  if (speckMm >= beamMm) return { diameterPx: speckMm / mmPerPx, holePx: 0, depth: 1, edgePx };
  const holeMm = beamMm * obstructionRatio;
  return {
    diameterPx: beamMm / mmPerPx,
    holePx: holeMm > speckMm ? holeMm / mmPerPx : 0,
    depth: Math.min(1, (speckMm / beamMm) ** 2 / litShare),
    edgePx,
  };
}

/** Multiplies the shadow into a transmission map. */
export function castShadow(map: Float32Array, widthPx: number, heightPx: number, shadow: DustShadow): void {
  const outer = shadow.diameterPx / 2;
  const inner = shadow.holePx / 2;
  const reach = outer + shadow.edgePx;
  const x0 = Math.max(0, Math.ceil(shadow.xPx - reach));
  const x1 = Math.min(widthPx - 1, Math.floor(shadow.xPx + reach));
  const y0 = Math.max(0, Math.ceil(shadow.yPx - reach));
  const y1 = Math.min(heightPx - 1, Math.floor(shadow.yPx + reach));
  for (let y = y0; y <= y1; y++) {
    for (let x = x0; x <= x1; x++) {
      const r = Math.hypot(x - shadow.xPx, y - shadow.yPx);
      const ring = softEdge(outer - r, shadow.edgePx) - (inner > 0 ? softEdge(inner - r, shadow.edgePx) : 0);
      map[y * widthPx + x]! *= 1 - shadow.depth * ring;
    }
  }
}
