import type { LightPath } from "../painter-contract.ts";
import type { SceneSpec } from "../spec/scene-spec.ts";
import {
  behindFocusMm,
  diffractionPx,
  imageGeometry,
  type SunSight,
  tubeTurnDegrees,
} from "./image-geometry.ts";

/**
 * The Sun as the bare sliver of the aperture beside the sheet images it: softened by the diffraction of the sliver's
 * width (alike in all directions, which for its length is too much), off to its side out of focus, where so narrow
 * a pencil of light hardly spreads.
 */
export function sightThroughGap(spec: SceneSpec, light: LightPath): SunSight {
  const whole = imageGeometry(spec, light);
  const gap = spec.rig.diffuser.rimGap;
  if (!gap) return { geometry: whole, shiftXPx: 0, shiftYPx: 0 };
  const { apertureMm, focalLengthMm } = spec.optics;
  const sigmaPx = Math.hypot(whole.sigmaPx, diffractionPx(spec, gap.widthMm));
  const offAxisPx =
    (behindFocusMm(spec, light.focusSteps) * apertureMm) /
    focalLengthMm /
    2 /
    (spec.camera.pixelMicron / 1000);
  const towards = ((gap.degrees + tubeTurnDegrees(spec, light.rotatorDegrees)) * Math.PI) / 180;
  return {
    geometry: { ...whole, sigmaPx, pupilPx: 0, pupilHolePx: 0 },
    shiftXPx: offAxisPx * Math.cos(towards),
    shiftYPx: offAxisPx * Math.sin(towards),
  };
}
