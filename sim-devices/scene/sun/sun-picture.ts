import {
  type ImageGeometry,
  imageGeometry,
  isSameGeometry,
  motionPx,
  type SunSight,
  sunCentrePx,
} from "../optics/image-geometry.ts";
import type { LightPath, Region } from "../painter-contract.ts";
import type { SceneSpec } from "../spec/scene-spec.ts";
import { SunPlane } from "./sun-plane.ts";
import { SunSurface } from "./sun-surface.ts";

/** A picture sampled for one place of the Sun stands for places this near [px]. */
const SAME_PLACE_PX = 0.02;
/** A picture that moves less than this during the exposure is not smeared [px]. */
const SMEAR_PX_MIN = 0.4;
/** A smear is a row of pictures a pixel apart, but never more than this. */
const COPIES_MAX = 48;

interface Sampled {
  readonly plane: SunPlane;
  readonly patch: Region;
  readonly xPx: number;
  readonly yPx: number;
  readonly smearX: number;
  readonly smearY: number;
  readonly level: Float32Array;
}

/** The image of the Sun on the sensor, kept as long as nothing moves. */
export class SunPicture {
  #plane: SunPlane | undefined;
  #sampled: Sampled | undefined;

  /**
   * @param sight how the optics, or a part of them, image the Sun; left out, all of them do
   * @throws Error if the surface image can't be read
   */
  constructor(
    readonly spec: SceneSpec,
    readonly surface = new SunSurface(spec),
    readonly sight: (light: LightPath) => SunSight = (light) => {
      return { geometry: imageGeometry(spec, light), shiftXPx: 0, shiftYPx: 0 };
    },
  ) {}

  /** Level over the patch, 1 at the centre of the quiet disc; `undefined` when none of the Sun falls there. */
  over(light: LightPath, patch: Region): Float32Array | undefined {
    const { geometry, shiftXPx, shiftYPx } = this.sight(light);
    const centre = sunCentrePx(this.spec, geometry, {
      eastArcsec: light.sunEastArcsec,
      northArcsec: light.sunNorthArcsec,
    });
    const at = { xPx: centre.xPx + shiftXPx, yPx: centre.yPx + shiftYPx };
    const smear = motionPx(geometry, {
      eastArcsec: light.smearEastArcsec,
      northArcsec: light.smearNorthArcsec,
    });
    if (misses(geometry, patch, at, Math.hypot(smear.xPx, smear.yPx))) return undefined;
    const kept = this.#sampled;
    if (
      kept &&
      isSameGeometry(kept.plane.geometry, geometry) &&
      isSameRegion(kept.patch, patch) &&
      Math.hypot(kept.xPx - at.xPx, kept.yPx - at.yPx) < SAME_PLACE_PX &&
      Math.hypot(kept.smearX - smear.xPx, kept.smearY - smear.yPx) < SAME_PLACE_PX
    ) {
      return kept.level;
    }
    const pixels = patch.widthPx * patch.heightPx;
    const level = kept?.level.length === pixels ? kept.level.fill(0) : new Float32Array(pixels);
    const plane = this.#sample(level, geometry, patch, places(at, smear));
    this.#sampled = { plane, patch: { ...patch }, ...at, smearX: smear.xPx, smearY: smear.yPx, level };
    return level;
  }

  #sample(level: Float32Array, geometry: ImageGeometry, patch: Region, at: readonly Place[]): SunPlane {
    let plane = this.#plane;
    for (const { xPx, yPx } of at) {
      if (!plane || !isSameGeometry(plane.geometry, geometry) || !plane.covers(patch, xPx, yPx)) {
        plane = new SunPlane(this.surface, geometry, patch, xPx, yPx);
      }
      plane.addTo(level, patch, xPx, yPx, 1 / at.length);
    }
    this.#plane = plane;
    return plane!;
  }
}

interface Place {
  readonly xPx: number;
  readonly yPx: number;
}

/** Where the Sun stands during the exposure, evenly in time. */
function places(middle: Place, smear: Place): Place[] {
  const smearPx = Math.hypot(smear.xPx, smear.yPx);
  const count = smearPx < SMEAR_PX_MIN ? 1 : Math.min(COPIES_MAX, Math.ceil(smearPx) + 1);
  return Array.from({ length: count }, (_, k) => ({
    xPx: middle.xPx + smear.xPx * ((k + 0.5) / count - 0.5),
    yPx: middle.yPx + smear.yPx * ((k + 0.5) / count - 0.5),
  }));
}

function misses(geometry: ImageGeometry, patch: Region, at: Place, smearPx: number): boolean {
  const reach = geometry.sunRadiusPx + 4.5 * geometry.sigmaPx + geometry.pupilPx + smearPx / 2 + 4;
  return (
    at.xPx + reach < patch.xPx ||
    at.yPx + reach < patch.yPx ||
    at.xPx - reach > patch.xPx + patch.widthPx ||
    at.yPx - reach > patch.yPx + patch.heightPx
  );
}

function isSameRegion(a: Region, b: Region): boolean {
  return a.xPx === b.xPx && a.yPx === b.yPx && a.widthPx === b.widthPx && a.heightPx === b.heightPx;
}
