import type { LightPath } from "../painter-contract.ts";
import type { SceneSpec } from "../spec/scene-spec.ts";

/** How the sky lies on the sensor, and how sharp. */
export interface ImageGeometry {
  readonly arcsecPerPx: number;
  /** Motion of the picture [px] for the line of sight moving east and north by 1 arcsec: x and y of each. */
  readonly eastX: number;
  readonly eastY: number;
  readonly northX: number;
  readonly northY: number;
  readonly sunRadiusPx: number;
  readonly sunPoleDegrees: number;
  /** Since the Sun's surface was as drawn. */
  readonly sunAgeHours: number;
  /** Seeing and diffraction together, sd of the Gaussian. */
  readonly sigmaPx: number;
  /** Out-of-focus pupil, outer and inner radius; 0 in focus. */
  readonly pupilPx: number;
  readonly pupilHolePx: number;
}

/** Charge diffusion and the pixel's own aperture: no picture is sharper. */
const SIGMA_PX_MIN = 0.5;

/** Plate scale: arcsec on the sky for one unbinned pixel. */
export function arcsecPerPx(spec: SceneSpec): number {
  return (Math.atan(spec.camera.pixelMicron / 1000 / spec.optics.focalLengthMm) * 648000) / Math.PI;
}

/** How far the sensor lies behind best focus [mm]; negative before it. */
export function behindFocusMm({ focuser }: SceneSpec, focusSteps: number): number {
  return ((focusSteps - focuser.bestSteps) * focuser.micronPerStep) / 1000;
}

/** How the tube's own pattern is turned on the sensor [degrees]. */
export function tubeTurnDegrees(spec: SceneSpec, rotatorDegrees: number): number {
  return rotatorDegrees - spec.startsWith.rotatorDegrees;
}

/** From the aperture to the sensor over the focal length: out of focus the picture grows and its light spreads with it. */
export function imageDistanceRatio(spec: SceneSpec, focusSteps: number): number {
  return 1 + behindFocusMm(spec, focusSteps) / spec.optics.focalLengthMm;
}

export function imageGeometry(spec: SceneSpec, light: LightPath): ImageGeometry {
  // Rays through the middle of the aperture go straight on to wherever the sensor is.
  const scale = arcsecPerPx(spec) / imageDistanceRatio(spec, light.focusSteps);
  const angle = ((spec.camera.angleDegrees + tubeTurnDegrees(spec, light.rotatorDegrees)) * Math.PI) / 180;
  const { parity } = spec.camera;
  const focalRatio = spec.optics.focalLengthMm / spec.optics.apertureMm;
  const pixelMm = spec.camera.pixelMicron / 1000;
  const seeingPx =
    (spec.sky.seeingArcsec * (light.seeingTimes ?? 1)) / (2 * Math.sqrt(2 * Math.log(2))) / scale;
  const pupilPx = Math.abs(behindFocusMm(spec, light.focusSteps)) / focalRatio / 2 / pixelMm;
  return {
    arcsecPerPx: scale,
    eastX: Math.cos(angle) / scale,
    eastY: Math.sin(angle) / scale,
    northX: (-parity * Math.sin(angle)) / scale,
    northY: (parity * Math.cos(angle)) / scale,
    sunRadiusPx: light.sunSemidiameterArcsec / scale,
    sunPoleDegrees: light.sunPoleDegrees,
    sunAgeHours: light.sunAgeHours ?? 0,
    sigmaPx: Math.max(SIGMA_PX_MIN, Math.hypot(diffractionPx(spec, spec.optics.apertureMm), seeingPx)),
    pupilPx: pupilPx < 0.25 ? 0 : pupilPx,
    pupilHolePx: pupilPx < 0.25 ? 0 : pupilPx * spec.optics.obstructionRatio,
  };
}

/**
 * Blur by the diffraction of an aperture of this width, sd [px]: the Gaussian that fits the core of the Airy disc,
 * 0.42 λ N (B. Zhang et al., Appl. Opt. 46 (2007) 1819).
 */
export function diffractionPx({ optics, camera }: SceneSpec, apertureMm: number): number {
  const focalRatio = optics.focalLengthMm / apertureMm;
  return (0.42 * optics.wavelengthNm * 1e-6 * focalRatio) / (camera.pixelMicron / 1000);
}

/** How the Sun is imaged by a part of the aperture: its picture is shifted against that of the whole. */
export interface SunSight {
  readonly geometry: ImageGeometry;
  readonly shiftXPx: number;
  readonly shiftYPx: number;
}

/** Where the Sun's centre falls on the sensor [unbinned px]. The Sun moves against the line of sight. */
export function sunCentrePx(
  spec: SceneSpec,
  geometry: ImageGeometry,
  offset: { eastArcsec: number; northArcsec: number },
): { xPx: number; yPx: number } {
  const moved = motionPx(geometry, offset);
  return { xPx: (spec.camera.widthPx - 1) / 2 - moved.xPx, yPx: (spec.camera.heightPx - 1) / 2 - moved.yPx };
}

/** Where the Sun's disc truly is on the sensor, and how large [unbinned px]. */
export function trueDisc(spec: SceneSpec, light: LightPath): { xPx: number; yPx: number; radiusPx: number } {
  const geometry = imageGeometry(spec, light);
  const offset = { eastArcsec: light.sunEastArcsec, northArcsec: light.sunNorthArcsec };
  return { ...sunCentrePx(spec, geometry, offset), radiusPx: geometry.sunRadiusPx };
}

/** Motion of the picture when the line of sight moves by this much. */
export function motionPx(geometry: ImageGeometry, sight: { eastArcsec: number; northArcsec: number }) {
  return {
    xPx: geometry.eastX * sight.eastArcsec + geometry.northX * sight.northArcsec,
    yPx: geometry.eastY * sight.eastArcsec + geometry.northY * sight.northArcsec,
  };
}

/** Matrix that turns a place relative to the Sun's centre [px] into the unit disc's (west, north). */
export function discFromPx(geometry: ImageGeometry) {
  const { arcsecPerPx: s, eastX, eastY, northX, northY, sunRadiusPx } = geometry;
  const pole = (geometry.sunPoleDegrees * Math.PI) / 180;
  // The rows of M over its norm are the pixel directions of east and north motion; the sky lies the other way round.
  const east = { x: -eastX * s, y: -eastY * s };
  const north = { x: -northX * s, y: -northY * s };
  return {
    ux: (-east.x * Math.cos(pole) + north.x * Math.sin(pole)) / sunRadiusPx,
    uy: (-east.y * Math.cos(pole) + north.y * Math.sin(pole)) / sunRadiusPx,
    vx: (east.x * Math.sin(pole) + north.x * Math.cos(pole)) / sunRadiusPx,
    vy: (east.y * Math.sin(pole) + north.y * Math.cos(pole)) / sunRadiusPx,
  };
}

/** True when a plane drawn for one geometry serves the other to a twentieth of a pixel. */
export function isSameGeometry(a: ImageGeometry, b: ImageGeometry): boolean {
  const tolerance = 0.05;
  const turn =
    Math.hypot(a.eastX - b.eastX, a.eastY - b.eastY, a.northX - b.northX, a.northY - b.northY) *
    a.arcsecPerPx;
  const pole = (Math.abs(a.sunPoleDegrees - b.sunPoleDegrees) * Math.PI) / 180;
  return (
    a.sunAgeHours === b.sunAgeHours &&
    Math.abs(a.sunRadiusPx - b.sunRadiusPx) < tolerance &&
    (turn + pole) * a.sunRadiusPx < tolerance &&
    Math.abs(a.sigmaPx - b.sigmaPx) < tolerance &&
    Math.abs(a.pupilPx - b.pupilPx) < tolerance
  );
}
