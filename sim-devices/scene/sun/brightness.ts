import { imageDistanceRatio } from "../optics/image-geometry.ts";
import type { LightPath } from "../painter-contract.ts";
import type { SceneSpec } from "../spec/scene-spec.ts";
import { clearSkyTransmission } from "./sky-light.ts";

/** Semidiameter at 1 au [arcsec], IAU nominal radius: where the spec's brightness is meant. */
const SEMIDIAMETER_AT_1_AU = 959.23;
/** The aureole halves over this distance from the limb. */
const AUREOLE_HALVING_ARCSEC = 900;

/** How strong the whole Sun's light is at the aperture, over that above the air at 1 au. */
export function sunlight(spec: SceneSpec, light: LightPath): number {
  const nearness = (light.sunSemidiameterArcsec / SEMIDIAMETER_AT_1_AU) ** 2;
  return nearness * light.transparency * clearSkyTransmission(spec.sky, light.sunAltitudeDegrees);
}

/** Light on the sensor before the rig's pattern [electrons/s of an average pixel]. */
export interface Brightness {
  /** The same everywhere, but for the sheet's own unevenness: diffuser, or the sky round the Sun. */
  readonly evenElectronsPerSecond: number;
  /** Of the disc's centre; 0 when no image of the Sun is formed. */
  readonly discElectronsPerSecond: number;
  /** The same of the image that a gap beside the diffuser forms. */
  readonly gapElectronsPerSecond: number;
}

/**
 * A diffuser fills the aperture with light from everywhere, and of the Sun's picture only its clear share remains;
 * without it the disc is imaged: its surface brightness does not change with the Sun's distance.
 */
export function brightness(spec: SceneSpec, light: LightPath): Brightness {
  const slot = spec.rig.slots[light.wheelSlot - 1]?.transmission ?? 0; // between slots: no light
  const spread = imageDistanceRatio(spec, light.focusSteps) ** 2;
  const through = (spec.sun.centreElectronsPerSecond * slot * light.coverOpenFraction) / spread;
  const offAxisArcsec = Math.hypot(light.sunEastArcsec, light.sunNorthArcsec);
  const sky = light.transparency * clearSkyTransmission(spec.sky, light.sunAltitudeDegrees);
  if (light.diffuserInPlace) {
    const { transmission, lobeDegrees, clearShare = 0, rimGap } = spec.rig.diffuser;
    const lobe = 2 ** -((offAxisArcsec / 3600 / lobeDegrees) ** 2);
    const evenElectronsPerSecond = through * transmission * lobe * sunlight(spec, light);
    return {
      evenElectronsPerSecond,
      discElectronsPerSecond: clearShare * evenElectronsPerSecond,
      gapElectronsPerSecond: through * sky * (rimGap?.areaFraction ?? 0),
    };
  }
  const beyondLimb = Math.max(0, offAxisArcsec - light.sunSemidiameterArcsec);
  const aureole = spec.sky.aureoleFraction * 2 ** (-beyondLimb / AUREOLE_HALVING_ARCSEC);
  return {
    evenElectronsPerSecond: through * sky * aureole,
    discElectronsPerSecond: through * sky,
    gapElectronsPerSecond: 0,
  };
}
